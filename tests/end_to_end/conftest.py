"""A small scene on disk: a 200 x 40 x 40 mm bar between two scanned walls, and how to run the command on it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import trimesh
from running import run  # noqa: F401 - a fixture

JOB = """\
title = "bar between walls"
[part]
file = "bar.stl"
unit = "mm"
tolerance = 0.1
[bay]
files = ["bay.ply"]
unit = "mm"
accuracy = 0.05
[register]
method = "landmarks"
pair = [
  { name = "a", part = [-100, -20, -20], bay = [-100, -20, -20] },
  { name = "b", part = [100, -20, -20], bay = [100, -20, -20] },
  { name = "c", part = [100, 20, -20], bay = [100, 20, -20] },
  { name = "d", part = [-100, 20, 20], bay = [-100, 20, 20] },
]
[[zone]]
name = "wall"
kind = "chassis"
where = { box = { min = [-200, 30, -200], max = [200, 60, 200] } }
gap = 5
[[zone]]
name = "floor"
kind = "line"
where = { rest = true }
gap = 8
[rock]
axis = { point = [0, 0, -100], direction = [1, 0, 0] }
roll = [-1, 1]
lift = [-1, 2]
"""


@dataclass(frozen=True)
class Scene:
    """Folder with job.toml, bar.stl, bay.ply."""

    folder: Path

    @property
    def job(self) -> Path:
        return self.folder / "job.toml"

    def edit(self, old: str, new: str) -> None:
        text = self.job.read_text()
        assert old in text
        self.job.write_text(text.replace(old, new))


def _wall_points(pitch: float = 2.0, noise: float = 0.05) -> np.ndarray:
    """Wall at y = 45 and floor at z = -45, seeded noise across."""
    rng = np.random.default_rng(7)
    u, v = np.meshgrid(np.arange(-140, 140.1, pitch), np.arange(-40, 60.1, pitch))
    u, v = u.ravel(), v.ravel()
    wall = np.column_stack([u, 45 + rng.normal(0, noise, u.size), v])
    u, v = (g.ravel() for g in np.meshgrid(np.arange(-140, 140.1, pitch), np.arange(-80, 44.1, pitch)))
    floor = np.column_stack([u, v, -45 + rng.normal(0, noise, u.size)])
    return np.vstack([wall, floor])


def _write_ply(path: Path, points: np.ndarray) -> None:
    trimesh.PointCloud(points).export(path)


@pytest.fixture
def scene(tmp_path: Path) -> Scene:
    trimesh.creation.box((200, 40, 40)).export(tmp_path / "bar.stl")
    _write_ply(tmp_path / "bay.ply", _wall_points())
    (tmp_path / "job.toml").write_text(JOB)
    return Scene(tmp_path)
