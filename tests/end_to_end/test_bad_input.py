"""Every kind of bad input: one clear line that names the file and the key, exit code 2, nothing left behind."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh


def _truncate(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def _bay(scene, change: Callable[[np.ndarray], np.ndarray]) -> None:
    points = np.asarray(trimesh.load(scene.folder / "bay.ply").vertices)
    trimesh.PointCloud(change(points)).export(scene.folder / "bay.ply")


def _with(points: np.ndarray, value: float) -> np.ndarray:
    changed = points.copy()
    changed[17, 1] = value
    return changed


def _no_triangles(path: Path) -> None:
    path.write_text("solid nothing\nendsolid nothing\n")


CASES: dict[str, tuple[Callable, tuple[str, ...]]] = {
    "missing part": (lambda s: (s.folder / "bar.stl").unlink(), ("job.toml", "part", "bar.stl", "no such file")),
    "missing scan": (lambda s: (s.folder / "bay.ply").unlink(), ("job.toml", "bay", "bay.ply")),
    "empty part": (lambda s: (s.folder / "bar.stl").write_bytes(b""), ("bar.stl", "empty")),
    "empty scan": (lambda s: (s.folder / "bay.ply").write_bytes(b""), ("bay.ply", "empty")),
    "truncated PLY": (lambda s: _truncate(s.folder / "bay.ply"), ("bay.ply",)),
    "truncated STL": (lambda s: _truncate(s.folder / "bar.stl"), ("bar.stl",)),
    "NaN point": (lambda s: _bay(s, lambda p: _with(p, np.nan)), ("bay.ply", "not finite", "17")),
    "inf point": (lambda s: _bay(s, lambda p: _with(p, np.inf)), ("bay.ply", "not finite", "17")),
    "zero triangles": (lambda s: _no_triangles(s.folder / "bar.stl"), ("bar.stl", "triangle")),
    "part in inches, said mm": (
        lambda s: trimesh.creation.box((200 / 25.4, 40 / 25.4, 40 / 25.4)).export(s.folder / "bar.stl"),
        ("job.toml", "unit"),
    ),
    "inch part in a metre bay": (
        lambda s: (
            s.edit('unit = "mm"\ntolerance', 'unit = "in"\ntolerance'),
            s.edit('unit = "mm"\nacc', 'unit = "m"\nacc'),
        ),
        ("unit",),
    ),
    "collinear landmarks": (
        lambda s: (
            s.edit("part = [100, 20, -20], bay = [100, 20, -20]", "part = [0, -20, -20], bay = [0, -20, -20]"),
            s.edit("part = [-100, 20, 20], bay = [-100, 20, 20]", "part = [50, -20, -20], bay = [50, -20, -20]"),
        ),
        ("job.toml", "register.pair", "line"),
    ),
    "zone without points": (
        lambda s: s.edit(
            "min = [-200, 30, -200], max = [200, 60, 200]", "min = [-200, 300, -200], max = [200, 360, 200]"
        ),
        ("job.toml", "zone 'wall'", "no scan point"),
    ),
    "unknown key": (lambda s: s.edit("gap = 5", "gapp = 5"), ("job.toml", "zone 'wall'", "gapp", "gap")),
    "negative gap": (lambda s: s.edit("gap = 5", "gap = -5"), ("job.toml", "zone 'wall'", "gap", "-5")),
    "roll reversed": (lambda s: s.edit("roll = [-1, 1]", "roll = [1, -1]"), ("job.toml", "rock.roll", "[-1, 1]")),
    "unknown unit": (
        lambda s: s.edit('unit = "mm"\ntolerance', 'unit = "feet"\ntolerance'),
        ("part.unit", "feet", "mm"),
    ),
    "unit missing": (lambda s: s.edit('unit = "mm"\ntolerance', "tolerance"), ("job.toml", "part.unit")),
    "not TOML": (lambda s: s.edit("[part]", "[part"), ("job.toml", "line 2")),
    "foreseen key": (lambda s: s.edit("[rock]", "[heat]\nambient = 20\n[rock]"), ("job.toml", "heat")),
    "part placed far off": (
        lambda s: s.job.write_text(
            s.job.read_text().split("[register]")[0]
            + '[register]\nmethod = "given"\nshift = [0, 5000, 0]\n[[zone]]'
            + s.job.read_text().split("[[zone]]", 1)[1]
        ),
        ("job.toml", "register", "mm from the nearest scan point"),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_one_clear_line_exit_2_and_no_folder(name: str, scene, run):
    spoil, telling = CASES[name]
    spoil(scene)
    before = sorted(p.name for p in scene.folder.iterdir())
    ended = run("check", scene.job, "-o", scene.folder / "report", "--quiet")
    assert ended.code == 2, ended
    (line,) = ended.err.splitlines()
    assert ended.out == ""
    assert "Traceback" not in line
    for words in telling:
        assert words in line, line
    assert sorted(p.name for p in scene.folder.iterdir()) == before


def test_a_missing_job_names_it(tmp_path: Path, run):
    ended = run("check", tmp_path / "nothing.toml")
    assert ended.code == 2
    assert "nothing.toml" in ended.err
    assert len(ended.err.splitlines()) == 1


def test_an_older_report_survives_a_bad_run(scene, run):
    out = scene.folder / "report"
    assert run("check", scene.job, "-o", out).code == 0
    kept = (out / "report.json").read_bytes()
    scene.edit("gap = 5", "gap = -5")
    assert run("check", scene.job, "-o", out).code == 2
    assert (out / "report.json").read_bytes() == kept


def test_a_folder_with_other_files_is_not_overwritten(scene, run):
    out = scene.folder / "precious"
    out.mkdir()
    (out / "notes.txt").write_text("mine")
    ended = run("check", scene.job, "-o", out, "--quiet")
    assert ended.code == 2
    assert "precious" in ended.err
    assert [p.name for p in out.iterdir()] == ["notes.txt"]


def test_a_link_that_leads_round_in_a_circle_is_no_folder(scene, run):
    (scene.folder / "loop").symlink_to("loop")
    ended = run("check", scene.job, "-o", scene.folder / "loop", "--quiet")
    assert ended.code == 2, ended
    assert "loop" in ended.err
    assert len(ended.err.splitlines()) == 1


def test_a_reader_that_goes_away_is_not_told_as_fail():
    reader, writer = os.pipe()
    os.close(reader)
    command = [sys.executable, "-m", "clearance", "new", "--keys"]
    ended = subprocess.run(command, stdout=writer, stderr=subprocess.PIPE, text=True, check=False)
    os.close(writer)
    assert ended.returncode == 141  # as the shell tells a program that a closed pipe stopped
    assert "Traceback" not in ended.stderr
