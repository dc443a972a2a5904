"""The small report that the pages are tried on.

A 200 x 40 x 40 mm bar rides on the engine, 25 mm and more from a scanned wall and a scanned floor, below a box
with a stroke, near a knuckle that swings; the engine rolls, lifts and shifts. One zone's name is markup.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import trimesh

from clearance.outputs.write import write_results
from clearance.pipeline import check

JOB = """\
title = "bar between walls"
[part]
file = "bar.stl"
unit = "mm"
rides = "engine"
tolerance = 0.1
[bay]
files = ["bay.ply"]
unit = "mm"
accuracy = 0.05
[register]
method = "given"
shift = [0.0, 0.0, 0.0]
[[zone]]
name = "wall <b>&amp; rib</b>"
kind = "chassis"
where = { box = { min = [-200, 30, -200], max = [200, 60, 200] } }
gap = 27
[[zone]]
name = "floor"
kind = "line"
where = { rest = true }
gap = 8
[[zone]]
name = "box with a stroke"
kind = "actuator"
rides = "engine"
where = { file = "box.stl", unit = "mm" }
stroke = { axis = [0, 0, 1], mm = [-4, 3] }
gap = 12
[[zone]]
name = "swinging knuckle"
kind = "axle"
where = { file = "knuckle.stl", unit = "mm" }
travel = { about = [135, 0, -150], axis = [0, 1, 0], degrees = [-2, 1] }
gap = 15
[rock]
axis = { point = [0, 0, -100], direction = [1, 0, 0] }
roll = [-2, 3]
lift = [-1, 2]
shift = [-1, 1]
"""


@dataclass(frozen=True)
class Report:
    """A written report and what its report.json says."""

    folder: Path
    tree: dict

    @property
    def page(self) -> Path:
        return self.folder / "report.html"


def written_report(folder: Path) -> Report:
    """Check the job in `folder` and write its report."""
    trimesh.creation.box((200, 40, 40)).export(folder / "bar.stl")
    box, knuckle = trimesh.creation.box((60, 30, 10)), trimesh.creation.icosphere(subdivisions=2, radius=12)
    for name, shape, place in (("box", box, (0, 0, 40)), ("knuckle", knuckle, (135, 0, 0))):
        shape.apply_translation(place)
        shape.export(folder / f"{name}.stl")
    rng = np.random.default_rng(7)
    u, v = (grid.ravel() for grid in np.meshgrid(np.arange(-140, 140.1, 2.0), np.arange(-40, 60.1, 2.0)))
    wall = np.column_stack([u, 50 + rng.normal(0, 0.05, u.size), v])
    floor = np.column_stack([u, v - 40, -50 + rng.normal(0, 0.05, u.size)])
    trimesh.PointCloud(np.vstack([wall, floor])).export(folder / "bay.ply")
    (folder / "job.toml").write_text(JOB)
    write_results(check(folder / "job.toml"), folder / "out")
    return Report(folder / "out", json.loads((folder / "out" / "report.json").read_text()))
