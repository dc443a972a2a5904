"""A bar beside a wall on disk, all bodies, and how to run the command on it."""

from __future__ import annotations

from pathlib import Path

import pytest
import trimesh
from running import run  # noqa: F401 - a fixture

JOB = """\
[part]
file = "bar.stl"
unit = "mm"
tolerance = 0.1
[register]
method = "given"
shift = [0.0, 0.0, 0.0]
[[zone]]
name = "wall"
kind = "chassis"
where = { box = { min = [-300, 45, -300], max = [300, 60, 300] }, solid = true }
gap = 28
[[zone]]
name = "other wall"
kind = "chassis"
where = { box = { min = [-300, -90, -300], max = [300, -80, 300] }, solid = true }
gap = 40
[[zone]]
name = "rod"
kind = "actuator"
rides = "engine"
where = { box = { min = [-10, -8, -60], max = [10, 8, -40] }, solid = true }
gap = 5
[rock]
axis = { point = [0, 0, 0], direction = [0, 0, 1] }
roll = [0, 0]
lift = [0, 2]
shift = [0, 0]
forward = [1, 0, 0]
"""
"""The bar's sides stand at y = -20 and 20: 25 mm from the wall, 60 mm from the other. 3 mm and a guard are lacking."""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    trimesh.creation.box((200, 40, 40)).export(tmp_path / "bar.stl")
    (tmp_path / "job.toml").write_text(JOB)
    return tmp_path / "job.toml"
