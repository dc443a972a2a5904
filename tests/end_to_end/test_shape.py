"""A part found in the scan by its shape, through whole jobs."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from clearance.frames import rigid

Array = NDArray[np.float64]
TURN = Rotation.from_euler("xyz", [20, -35, 110], degrees=True).as_matrix()
TRUE = rigid("bay", "part", TURN, (500, -200, 900))
EYE = np.array([400.0, 800, 900])
"""Where the scanner stands, part frame."""

JOB = """\
[part]
file = "part.stl"
unit = "mm"
tolerance = 0.1
[bay]
files = ["bay.ply"]
unit = "mm"
accuracy = 0.02
{ends}
{engine}[register]
method = "shape"
{region}
[[zone]]
name = "wall"
kind = "chassis"
where = {{ rest = true }}
gap = 2.5
"""


def _elbow() -> trimesh.Trimesh:
    """Three pipes of different length and direction, about 300 mm across: no symmetry."""
    pipes = [((0, 0, 0), (200, 0, 0), 21), ((200, 0, 0), (200, 150, 40), 25), ((60, 0, 0), (60, -40, 120), 18)]
    return trimesh.util.concatenate(
        [trimesh.creation.cylinder(radius=radius, segment=[a, b], sections=48) for a, b, radius in pipes]
    )


def _block() -> trimesh.Trimesh:
    """Box of three different sides: a half turn about each middle axis brings it onto itself."""
    return trimesh.creation.box((300, 180, 90))


def _bar() -> trimesh.Trimesh:
    """A bar beside the first pipe: 9 mm from it, and 160 mm from the wall."""
    return trimesh.creation.box(bounds=[[90, 30, -10], [150, 50, 10]])


def _scan(part: trimesh.Trimesh, count: int = 12_000, noise: float = 0.2) -> Array:
    points, face = trimesh.sample.sample_surface(part, count, seed=3)
    normal = part.face_normals[face]
    seen = ((EYE - points) * normal).sum(axis=1) > 0.2 * np.linalg.norm(EYE - points, axis=1)
    off = np.random.default_rng(1).normal(0, noise, int(seen.sum()))
    return np.asarray(points[seen] + normal[seen] * off[:, None])


def _backdrop() -> Array:
    """A scanned wall behind the part, part frame."""
    rng = np.random.default_rng(2)
    return np.column_stack([rng.uniform(-100, 400, 9_000), rng.normal(-130, 0.2, 9_000), rng.uniform(-100, 200, 9_000)])


def _job(folder: Path, part: trimesh.Trimesh, engine: trimesh.Trimesh | None = None, region: bool = True) -> Path:
    part.export(folder / "part.stl")
    scanned = part if engine is None else engine
    scanned.export(folder / "engine.stl")
    trimesh.PointCloud(TRUE.apply(np.vstack([_scan(scanned), _backdrop()]))).export(folder / "bay.ply")
    near = TRUE.apply(scanned.vertices.mean(axis=0)) + np.array([20, -15, 25])
    centre = ", ".join(f"{x:.0f}" for x in near)
    # Half of the engine is turned away from the scanner: its scan ends where its back begins.
    placed = TRUE.apply(scanned.vertices)
    low, high = (placed.min(axis=0) - 10).tolist(), (placed.max(axis=0) + 10).tolist()
    (folder / "job.toml").write_text(
        JOB.format(
            engine="" if engine is None else '[engine]\nfile = "engine.stl"\nunit = "mm"\npeel = true\n',
            ends=f"ends = [{{ box = {{ min = {low}, max = {high} }} }}]" if engine else "",
            region=f"region = {{ center = [{centre}], radius = 200 }}" if region else "",
        )
    )
    return folder / "job.toml"


def test_an_engine_found_by_its_shape_places_the_part(tmp_path: Path, run):
    job = _job(tmp_path, _bar(), engine=_elbow())
    ended = run("check", job, "-o", tmp_path / "r", "--quiet")
    assert ended.code == 0, ended
    report = json.loads((tmp_path / "r" / "report.json").read_text())
    registration = report["registration"]
    assert registration["method"].startswith("shape")
    assert registration["converged"] is True
    pose = np.array(registration["T_bay_part"])
    assert np.degrees(Rotation.from_matrix(pose[:3, :3] @ TURN.T).magnitude()) < 0.5
    corners = np.asarray(_bar().vertices)
    assert np.linalg.norm(corners @ pose[:3, :3].T + pose[:3, 3] - TRUE.apply(corners), axis=1).max() < 1.0
    wall, engine = report["zones"]
    # Bar from y = 30 to 50; wall y = -130; pipe of radius 21 along x.
    assert wall["clearance_mm"]["upper"] == pytest.approx(160, abs=1)
    assert engine["name"] == "wall, on the engine"
    assert engine["clearance_mm"]["upper"] == pytest.approx(9, abs=1)


def test_a_part_that_fits_two_ways_is_undecided_with_both_told(tmp_path: Path, run):
    ended = run("check", _job(tmp_path, _block()), "-o", tmp_path / "r", "--quiet")
    assert ended.code == 3, ended
    report = json.loads((tmp_path / "r" / "report.json").read_text())
    assert report["registration"]["converged"] is False
    told = " ".join((report["reason"], ended.out, (tmp_path / "r" / "report.html").read_text()))
    assert "ambiguous" in told
    assert report["reason"].count("origin [") == 2


def test_a_missing_region_is_told_in_one_line(tmp_path: Path, run):
    ended = run("check", _job(tmp_path, _elbow(), region=False), "-o", tmp_path / "r", "--quiet")
    assert ended.code == 2
    (line,) = ended.err.splitlines()
    for words in ("job.toml", "register", "region"):
        assert words in line, line
    assert not (tmp_path / "r").exists()
