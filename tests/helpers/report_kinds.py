"""Small jobs that need more than rock and travel: a part that grows, a fitted shaft, a face in contact, a link."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import trimesh

BAR = """\
[part]
file = "bar.stl"
unit = "mm"
tolerance = 0.1
material = "304"
[register]
method = "given"
shift = [0, 0, 0]
"""
BAY = '[bay]\nfiles = ["bay.ply"]\nunit = "mm"\naccuracy = 0.02\n'
ROCK = "[rock]\naxis = { point = [0, 0, -300], direction = [0, 1, 0] }\nroll = [-1, 1]\nlift = [-2, 3]\n"
FLANGE = '[[datum]]\nname = "flange"\non = "part"\n'

GROWS = f"""\
{BAR}{BAY}{ROCK}[heat]
part_temperature = 500
anchor = "flange"
{FLANGE}face = {{ point = [-100, 0, 0], normal = [-1, 0, 0], radius = 10 }}
[[zone]]
name = "end stop"
kind = "chassis"
where = {{ solid = true, box = {{ min = [125, -30, -30], max = [140, 30, 30] }} }}
gap = 4
[[zone]]
name = "wall"
kind = "chassis"
where = {{ rest = true }}
gap = 4
"""

FITTED = f"""\
{BAR}{BAY}{ROCK}[[zone]]
name = "left shaft"
kind = "axle"
gap = 15
fit = "cylinder"
where = {{ box = {{ min = [-120, -60, 40], max = [120, 60, 100] }} }}
"""

LINKED = f"""\
{BAR}{ROCK}[[link]]
name = "left shaft"
engine = [80, -150, 60]
chassis = [80, 250, 40]
[[zone]]
name = "shaft"
kind = "axle"
rides = "left shaft"
gap = 5
where = {{ solid = true, cylinder = {{ from = [80, -150, 60], to = [80, 250, 40], diameter = 24 }} }}
travel = {{ about = [80, -100, 0], axis = [1, 0, 0], degrees = [-2, 2] }}
"""

PART = BAR.replace("bar.stl", "part.stl").replace("[register]", 'contact = ["flange"]\n[register]')
FACE = f"{FLANGE}face = {{ point = [0, 0, 0], normal = [0, 0, -1], radius = 46 }}\n"

SEATED = f"""\
{PART}{BAY}{FACE}[[zone]]
name = "head and wall"
kind = "chassis"
rides = "engine"
where = {{ rest = true }}
gap = 10
"""

ON_A_BODY = f"""\
{PART}{FACE}[[zone]]
name = "head"
kind = "chassis"
rides = "engine"
where = {{ solid = true, box = {{ min = [-80, -80, -30], max = [80, 80, 0] }} }}
gap = 0.5
"""


def wall() -> np.ndarray:
    """A slanting wall: y = 40 where x = 130, 66 where x = -130."""
    u, v = (x.ravel() for x in np.meshgrid(np.arange(-130, 130.1, 6.0), np.arange(-42, 42.1, 6.0)))
    return np.column_stack([u, 40 + (130 - u) / 10 + np.random.default_rng(3).normal(0, 0.05, u.size), v])


def shaft() -> np.ndarray:
    """150 degrees, from above, of a shaft 28 mm across along x at z = 60, and a bracket beside it."""
    rng = np.random.default_rng(5)
    x, a = np.meshgrid(np.arange(-90, 90.1, 3.0), np.arange(-75, 75.1, 6.0))
    a, r = np.radians(a.ravel() + 90), 14 + rng.normal(0, 0.1, a.size)
    y, z = np.meshgrid(np.arange(34, 46.1, 2.0), np.arange(45, 60.1, 2.0))
    bracket = np.column_stack([rng.normal(0, 0.1, y.size), y.ravel(), z.ravel()])
    return np.vstack([np.column_stack([x.ravel(), r * np.cos(a), 60 + r * np.sin(a)]), bracket])


def seat() -> np.ndarray:
    """A face z = 0 out to 45 mm, a ring of it from 60 to 66 mm, and a wall y = 75."""
    rng = np.random.default_rng(1)
    u, v = (x.ravel() for x in np.meshgrid(np.arange(-66, 66.1, 1.5), np.arange(-66, 66.1, 1.5)))
    away = np.hypot(u, v)
    face = np.column_stack([u, v, rng.normal(0, 0.02, u.size)])[(away <= 45) | ((away >= 60) & (away <= 66))]
    u, v = (x.ravel() for x in np.meshgrid(np.arange(-80, 80.1, 2.0), np.arange(5, 95.1, 2.0)))
    return np.vstack([face, np.column_stack([u, 75 + rng.normal(0, 0.02, u.size), v])])


def bar() -> trimesh.Trimesh:
    """200 x 40 x 40 mm about the origin."""
    return trimesh.creation.box((200, 40, 40))


def pipe() -> trimesh.Trimesh:
    """Flange 90 mm across and 8 mm thick on z = 0, with a pipe 40 mm across up to z = 90."""
    flange = trimesh.creation.cylinder(radius=45, segment=[(0, 0, 0), (0, 0, 8)], sections=64)
    tube = trimesh.creation.cylinder(radius=20, segment=[(0, 0, 4), (0, 0, 90)], sections=64)
    return trimesh.util.concatenate([flange, tube])


Scan = Callable[[], np.ndarray]
KINDS: dict[str, tuple[str, str, Callable[[], trimesh.Trimesh], Scan | None]] = {
    "grows": (GROWS, "bar.stl", bar, wall),
    "fitted": (FITTED, "bar.stl", bar, shaft),
    "seated": (SEATED, "part.stl", pipe, seat),
    "on a body": (ON_A_BODY, "part.stl", pipe, None),
    "linked": (LINKED, "bar.stl", bar, None),
}


def write_kind(kind: str, folder: Path) -> Path:
    """Write the inputs of a job; return its file."""
    text, name, part, scan = KINDS[kind]
    part().export(folder / name)
    if scan is not None:
        trimesh.PointCloud(scan()).export(folder / "bay.ply")
    (folder / "job.toml").write_text(text)
    return folder / "job.toml"
