"""Free and blocked angles of a handle against the distance of every point at many angles, in closed form."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearance.access.arcs import Arcs
from clearance.access.obstacle import Obstacle
from clearance.scene.mesh import Mesh

REACH, WIDE, HIGH = 60.0, 8.0, 6.0
ANGLES = np.radians(np.arange(0.0, 360.0, 0.1))
ROUGH_RAD = np.radians(1.5)
"""A sector is no longer cut below a swing of 10 degrees over 8, and two of its ends may be lost to a free arc."""


def least(points: np.ndarray) -> np.ndarray:
    """Signed distance of (n, 3) points to the box of the handle at every angle; the least at each."""
    found = []
    for angle in ANGLES:
        c, s = np.cos(angle), np.sin(angle)
        seen = points @ np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])
        out = np.abs(seen - [REACH / 2, 0, HIGH / 2]) - np.array([REACH, WIDE, HIGH]) / 2
        away = np.linalg.norm(np.maximum(out, 0), axis=1) + np.minimum(out.max(axis=1), 0)
        found.append(away.min())
    return np.array(found)


def longest(true: np.ndarray) -> float:
    """Length of the longest run on the circle, rad."""
    if true.all():
        return 2 * np.pi
    start = int(np.flatnonzero(~true)[0])
    runs = np.split(np.roll(true, -start), np.flatnonzero(np.diff(np.roll(true, -start).astype(int))) + 1)
    return max((len(run) for run in runs if run[0]), default=0) * float(ANGLES[1])


@pytest.mark.parametrize("solid", [False, True])
@pytest.mark.parametrize("seed", range(8))
def test_arcs_agree_with_dense_angles(seed, solid):
    """Points or small closed bodies: no arc is free, and no angle blocked, that dense angles say is not."""
    rng = np.random.default_rng(seed)
    turn, out = rng.uniform(0, 2 * np.pi, 5), rng.uniform(15, 70, 5)
    middles = np.stack([out * np.cos(turn), out * np.sin(turn), rng.uniform(-3, 9, 5)], axis=1)
    if solid:
        shape = trimesh.util.concatenate([trimesh.creation.icosphere(2, 2.0).apply_translation(m) for m in middles])
        thing: Mesh | np.ndarray = Mesh(np.asarray(shape.vertices), np.asarray(shape.faces, np.int64))
        points, coarse = np.vstack([shape.vertices, shape.triangles_center]), 0.1
    else:
        thing = points = np.vstack([middles, middles + rng.normal(size=(5, 3))])
        coarse = 1e-6
    obstacle = Obstacle(name="o", solid=thing, closed=solid, gap_mm=2.0, doubt_mm=0.5, spacing_mm=0.7)
    bar = trimesh.creation.box(bounds=[[0, -WIDE / 2, 0], [REACH, WIDE / 2, HIGH]])
    handle = Mesh(np.asarray(bar.vertices, float), np.asarray(bar.faces, np.int64))
    swing = np.radians(10.0)
    arcs = Arcs(handle, np.zeros(3), np.array([0, 0, 1.0]), swing, [obstacle])
    away = least(points)
    step = float(ANGLES[1])
    assert arcs.longest_free <= longest(away >= obstacle.needed_mm) + 2 * step
    if longest(away >= obstacle.needed_mm + coarse) >= swing + 2 * np.radians(15.0):
        assert arcs.longest_free >= swing
    if arcs.longest_free < swing:
        assert arcs.longest_not_blocked >= longest(away + obstacle.doubt_mm >= obstacle.gap_mm) - 2 * step
        assert arcs.longest_free >= longest(away >= obstacle.needed_mm + coarse) - 2 * ROUGH_RAD


@pytest.mark.parametrize("wide", [9.0, 14.0])
def test_slots_too_narrow_to_swing_in_are_blocked(wide):
    """Posts at every 30 degrees: the handle, 8 wide, fits between them and swings by less than wanted."""
    turn = np.radians(np.arange(0, 360, 30))
    post = 40.0 * np.stack([np.cos(turn), np.sin(turn), np.full(12, 0.075)], axis=1)
    handle = trimesh.creation.box(bounds=[[0, -wide / 2, 0], [REACH, wide / 2, HIGH]])
    mesh = Mesh(np.asarray(handle.vertices, float), np.asarray(handle.faces, np.int64))
    free = np.pi / 6 - 2 * np.arcsin(wide / 2 / 40.0)
    for swing, blocked in ((free - 0.02, False), (free + 0.02, True)):
        obstacle = Obstacle(name="posts", solid=post, gap_mm=1e-3)
        arcs = Arcs(mesh, np.zeros(3), np.array([0, 0, 1.0]), swing, [obstacle])
        assert bool(arcs.longest_not_blocked < swing) is blocked
        assert blocked or arcs.longest_free >= 0.7 * swing
