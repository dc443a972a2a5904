"""What the scan missed may ride on what was moved: it stays unseen from there."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

from clearance.job.moves import Move
from clearance.moves.what_if import what_if

JOB = """\
[part]
file = "bar.stl"
unit = "mm"
tolerance = 0.1
[bay]
files = ["bay.ply"]
unit = "mm"
accuracy = 0.05
noise = 0.0
[register]
method = "given"
shift = [0.0, 0.0, 0.0]
[[zone]]
name = "wall"
kind = "chassis"
where = { rest = true }
gap = 6
[rock]
axis = { point = [0, 0, 0], direction = [1, 0, 0] }
roll = [0, 0]
"""
HOLE = np.array([0.0, 32.0, 0.0])


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A bar to y = 20, a scanned wall at y = 32 with a hole 40 mm across over the bar's middle."""
    trimesh.creation.box((60, 40, 40)).export(tmp_path / "bar.stl")
    u, v = (a.ravel() for a in np.meshgrid(np.arange(-250, 250.1, 3.0), np.arange(-60, 60.1, 3.0)))
    wall = np.column_stack([u, np.full(len(u), 32.0), v])
    wall = wall[np.linalg.norm(wall - HOLE, axis=1) > 20]
    trimesh.PointCloud(wall).export(tmp_path / "bay.ply")
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path / "job.toml"


def test_a_hole_left_behind_stays_in_doubt_for_the_engine_and_not_for_the_part_alone(job):
    """150 mm along the wall the bar is clear of the hole; a thing in it that rides on the engine came along."""
    shift = (150.0, 0.0, 0.0)
    found = what_if(job, [Move(of="engine", shift=shift), Move(of="part", shift=shift)])
    assert [np.linalg.norm(u.centre - HOLE) < 25 for u in found.before.unseen] == [True]
    engine, part = (case.after for case in found.cases)
    assert [np.linalg.norm(u.centre - HOLE) < 25 for u in engine.unseen] == [True]
    assert engine.verdict.value == "undecided"
    assert not part.unseen
    assert part.verdict.value == "pass"
