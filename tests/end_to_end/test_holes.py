"""A rail scanned whole and with a hole over it: what the scan did not see is never clear."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from clearance.outputs.record import record
from clearance.pipeline import check

Array = NDArray[np.float64]
NOISE_MM = 0.1
PITCH_MM = 1.5
HOLES_MM = (10, 20, 40, 80)
JOB = """\
[part]
file = "bar.stl"
unit = "mm"
tolerance = 0.1
[bay]
files = ["bay.ply"]
unit = "mm"
accuracy = 0.05
[register]
method = "given"
shift = [0, 0, 0]
[[zone]]
name = "frame rail"
kind = "chassis"
where = { rest = true }
gap = 20
[rock]
axis = { point = [0, 0, 0], direction = [1, 0, 0] }
roll = [-1, 1]
"""


def _tube(radius: float, z: float) -> Array:
    """Return points all round a tube along x whose axis is at height z."""
    x, a = np.meshgrid(np.arange(-140, 140.1, PITCH_MM), np.arange(0, 2 * np.pi, PITCH_MM / radius))
    r = radius + np.random.default_rng(4).normal(0, NOISE_MM, a.size)
    return np.column_stack([x.ravel(), r * np.sin(a.ravel()), z + r * np.cos(a.ravel())])


def _plate() -> Array:
    """Return points of a plate z = -50, 30 mm below the bar and well beyond it on all sides."""
    x, y = np.meshgrid(np.arange(-140, 140.1, PITCH_MM), np.arange(-75, 75.1, PITCH_MM))
    return np.column_stack([x.ravel(), y.ravel(), np.random.default_rng(3).normal(-50, NOISE_MM, x.size)])


def _job(folder: Path, points: Array) -> Path:
    trimesh.creation.box((160, 40, 40)).export(folder / "bar.stl")
    trimesh.PointCloud(points).export(folder / "bay.ply")
    (folder / "job.toml").write_text(JOB)
    return folder / "job.toml"


@pytest.mark.parametrize("rail", [_plate(), _tube(40, -90)], ids=["plate", "tube"])
def test_a_rail_scanned_whole_passes(tmp_path: Path, rail):
    report = record(check(_job(tmp_path, rail)))
    assert report["verdict"] == "pass", report["reason"]
    assert report["unseen"] == []
    # 30 mm at rest; 1 degree about the bar's middle turns its lower edges down by 20 sin 1 = 0.35 mm.
    assert report["zones"][0]["clearance_mm"]["upper"] > 29


@pytest.mark.parametrize("width", HOLES_MM)
def test_a_round_hole_over_the_plate_is_undecided(tmp_path: Path, width):
    middle = np.array([15.0, 5.0, -50.0])
    plate = _plate()
    seen = plate[np.linalg.norm(plate - middle, axis=1) > width / 2]
    report = record(check(_job(tmp_path, seen)))
    _told(report, middle, width)


@pytest.mark.parametrize("width", HOLES_MM)
def test_a_stretch_of_the_tube_that_is_missing_is_undecided(tmp_path: Path, width):
    tube = _tube(40, -90)
    middle = np.array([-20.0, 0.0, -50.0])
    # The upper half is missing over that length: the scanner stood below.
    gone = (np.abs(tube[:, 0] - middle[0]) <= width / 2) & (tube[:, 2] > -90)
    report = record(check(_job(tmp_path, tube[~gone])))
    _told(report, middle, width)


def _told(report: dict, middle: Array, width: float) -> None:
    assert report["verdict"] == "undecided", report["reason"]
    assert report["unseen"]
    # Somewhere in the hole or at its rim.
    assert min(np.linalg.norm(np.array(p["centre_mm"]) - middle) for p in report["unseen"]) < width / 2 + 45
    (zone,) = report["zones"]
    assert zone["verdict"] == "undecided"
    for words in ("hole", "near [", "scan it again from"):
        assert words in zone["reason"], zone["reason"]
    assert "frame rail" in report["reason"]
    for place in report["unseen"]:
        assert place["zone"] == "frame rail"
        assert place["nearest_mm"] < place["needed_mm"]
        assert place["advice"]


def test_a_hole_far_from_the_part_is_no_matter(tmp_path: Path):
    plate = _plate()
    seen = plate[np.linalg.norm(plate - (130, 65, -50), axis=1) > 8]
    report = record(check(_job(tmp_path, seen)))
    assert (report["verdict"], report["unseen"]) == ("pass", [])


ENDS = "ends = [{ box = { min = [-25, -90, -60], max = [-5, 90, -40] } }]"


def test_a_plate_whose_scan_ends_under_the_bar_is_undecided_until_the_job_says_that_it_ends(tmp_path: Path):
    plate = _plate()
    job = _job(tmp_path, plate[plate[:, 0] < -15])
    report = record(check(job))
    assert report["verdict"] == "undecided", report["reason"]
    for words in ("the scan ends", "near [", "scan it again from above", "bay.ends"):
        assert words in report["reason"] + report["zones"][0]["reason"]
    job.write_text(job.read_text().replace("accuracy = 0.05", f"accuracy = 0.05\n{ENDS}"))
    report = record(check(job))
    assert (report["verdict"], report["unseen"]) == ("pass", [])
    assert "really ends in [-25, -90, -60] to [-5, 90, -40]" in report["unseen_looked_for"]


def test_an_end_told_inside_out_is_refused(tmp_path: Path, run):
    job = _job(tmp_path, _plate())
    job.write_text(job.read_text().replace("accuracy = 0.05", f"accuracy = 0.05\n{ENDS.replace('-90', '95', 1)}"))
    ended = run("check", job, "-o", tmp_path / "r", "--quiet")
    assert ended.code == 2
    assert "ends" in ended.err
    assert "along y" in ended.err
    assert not (tmp_path / "r").exists()


def test_the_command_tells_where_to_scan_again(tmp_path: Path, run):
    plate = _plate()
    seen = plate[np.linalg.norm(plate - (15, 5, -50), axis=1) > 10]
    ended = run("check", _job(tmp_path, seen), "-o", tmp_path / "r", "--quiet")
    assert ended.code == 3
    report = json.loads((tmp_path / "r" / "report.json").read_text())
    assert "scan it again from above" in report["unseen"][0]["advice"]
    assert "scan it again from above" in " ".join(ended.out.split())
    assert "scan it again from above" in (tmp_path / "r" / "report.html").read_text()
