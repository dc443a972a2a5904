"""The bay as it truly is: closed solids in the bay's frame, which surface is which, and how the part sits in it.

Bay frame, mm: x forward, y left, z up; origin on the belly floor's middle line.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import trimesh
from manifold3d import Manifold
from numpy.typing import NDArray

from demo_scene.part import Array

Faces = NDArray[np.int64]
Point = tuple[float, float, float]
SIDES = 96
"""Sides of round solids: a 60 mm can's surface lies within 0.02 mm of the true round."""

LEAN_DEG, YAW_DEG = 10.0, 0.7
FLANGE_AT = np.array([-42.3, 11.6, 331.4])
"""Where the engine sits: the head leans back and stands a little out of square in the bay."""

ROCK_POINT, ROCK_AXIS = (130.0, 0.0, 205.0), (0.0, -1.0, 0.0)
ROLL_DEG, LIFT_MM, SHIFT_MM = (-3.0, 4.0), (-2.0, 3.0), (-2.0, 2.0)

RAIL_X, RAIL_TOP, RAIL_SIDE, RAIL_CORNER = -128.0, 200.0, 40.0, 4.0
SHAFT: tuple[Point, Point] = ((-48.0, 62.0, 227.0), (-48.0, 425.0, 230.0))
SHAFT_DIAMETER = 26.0
BULKHEAD_X = -234.0
LINE_DIAMETER, LINE_OFF = 6.0, 12.0
"""The brake line's middle stands `LINE_OFF` off the bulkhead."""
LINE: tuple[Point, ...] = tuple(
    (BULKHEAD_X + LINE_OFF, y, z) for y, z in ((232.0, 30.0), (232.0, 255.0), (212.0, 290.0), (212.0, 560.0))
)
COOLANT: tuple[Point, ...] = ((-203.0, -428.0, 180.0), (-203.0, -330.0, 218.0), (-203.0, 428.0, 218.0))
COOLANT_DIAMETER = 22.0
ACTUATOR_CAN: tuple[Point, Point] = ((-140.0, 122.0, 372.0), (-140.0, 168.0, 372.0))
HOLE_Y = (-95.0, 35.0)
"""Stretch of the rail that gave no returns to the first scan."""


@dataclass(frozen=True)
class Solid:
    """A named closed surface, bay frame, mm: `name` is the zone it belongs to, or "rest"."""

    name: str
    vertices: Array
    faces: Faces


def pose_bay_part() -> Array:
    """Return the true T_bay_part (4, 4): Z of the part looks back and down, X to the right."""
    a, b = np.radians(LEAN_DEG), np.radians(YAW_DEG)
    leaning = np.array([[0.0, -np.sin(a), -np.cos(a)], [-1.0, 0.0, 0.0], [0.0, np.cos(a), -np.sin(a)]])
    yaw = np.array([[np.cos(b), -np.sin(b), 0.0], [np.sin(b), np.cos(b), 0.0], [0.0, 0.0, 1.0]])
    pose = np.eye(4)
    pose[:3, :3], pose[:3, 3] = yaw @ leaning, FLANGE_AT
    return pose


def surroundings() -> list[Solid]:
    """Return everything that stands in the bay with the engine out."""
    return [
        _solid("frame rail", _tube_along_y(RAIL_X, RAIL_TOP, RAIL_SIDE, RAIL_CORNER, (-430.0, 430.0))),
        _solid("left shaft", _shaft()),
        _solid("brake line", _pipe(LINE, LINE_DIAMETER / 2)),
        _solid("bulkhead", _bulkhead()),
        _solid("rest", _others()),
    ]


def actuator() -> Solid:
    """Return the wastegate's actuator, which rides the engine: can, neck, rod, clevis and bracket."""
    a, b = (np.array(p) for p in ACTUATOR_CAN)
    along = (a - b) / np.linalg.norm(a - b)
    bodies = [
        _rod(a, b, 27.0),
        _rod(a, a + 7 * along, 27.0, 16.0),
        _rod(b, b - 6 * along, 27.0, 20.0),
        _rod((a + b) / 2 - 2 * along, (a + b) / 2 + 2 * along, 30.0),
        _rod(a, a + 16 * along, 9.0),
        _rod(a, a + 64 * along, 3.0),
        _rod(a + 56 * along, a + 74 * along, 5.5),
        _box((-112.0, 140.0, 369.0), (-70.0, 143.0, 388.0)),
        _rod((a + b) / 2 + (0.0, 0.0, 20.0), (a + b) / 2 + (0.0, 0.0, 42.0), 4.0),
    ]
    return _solid("wastegate actuator", _union(bodies))


def _solid(name: str, body: Manifold) -> Solid:
    mesh = body.to_mesh()
    vertices = np.asarray(mesh.vert_properties, np.float32)[:, :3].astype(np.float64)
    return Solid(name, vertices, np.asarray(mesh.tri_verts, np.int64))


def _union(bodies: list[Manifold]) -> Manifold:
    total = bodies[0]
    for body in bodies[1:]:
        total = total + body
    return total


def _box(low: Point, high: Point) -> Manifold:
    size = tuple(b - a for a, b in zip(low, high, strict=True))
    return Manifold.cube(size).translate(low)


def _rod(start: Array, end: Array, radius: float, end_radius: float = -1.0) -> Manifold:
    """Return a cylinder or cone from `start` to `end`, (3,) each."""
    along = np.asarray(end, np.float64) - start
    turn = trimesh.geometry.align_vectors([0.0, 0.0, 1.0], along / np.linalg.norm(along))
    placed = np.column_stack([turn[:3, :3], start])
    return Manifold.cylinder(float(np.linalg.norm(along)), radius, end_radius, SIDES).transform(placed)


def _pipe(line: tuple[Point, ...], radius: float) -> Manifold:
    """Return straight pipes joined by balls."""
    knots = np.array(line)
    pieces = [_rod(a, b, radius) for a, b in pairwise(knots)]
    balls = [Manifold.sphere(radius, SIDES).translate(tuple(k.tolist())) for k in knots[1:-1]]
    return _union([*pieces, *balls])


def _tube_along_y(x: float, top: float, side: float, corner: float, y: tuple[float, float]) -> Manifold:
    """Return a square tube with round edges; closed at its ends."""
    inset = side / 2 - corner
    edges = [
        _rod(np.array([x + sx * inset, y[0], top - side / 2 + sz * inset]),
             np.array([x + sx * inset, y[1], top - side / 2 + sz * inset]), corner)
        for sx in (-1, 1) for sz in (-1, 1)
    ]  # fmt: skip
    return Manifold.batch_hull(edges)


def _shaft() -> Manifold:
    """Return the plain shaft with its splined inner end as a thinner stub."""
    inner, outer = (np.array(p) for p in SHAFT)
    along = (outer - inner) / np.linalg.norm(outer - inner)
    return _rod(inner, outer, SHAFT_DIAMETER / 2) + _rod(inner - 34.0 * along, inner, SHAFT_DIAMETER / 2 - 2.5)


def _bulkhead() -> Manifold:
    """Return a sheet with two pressed stiffening beads and a folded edge at its top."""
    sheet = _box((BULKHEAD_X - 8.0, -430.0, 0.0), (BULKHEAD_X, 430.0, 560.0))
    fold = _box((BULKHEAD_X - 8.0, -430.0, 552.0), (BULKHEAD_X + 30.0, 430.0, 560.0))
    line_gap = _box((BULKHEAD_X - 1.0, 195.0, 551.0), (BULKHEAD_X + 31.0, 229.0, 561.0))
    beads = [
        _rod(np.array([BULKHEAD_X - 5.0, y, z]), np.array([BULKHEAD_X - 5.0, y + 300.0, z]), 9.0)
        for y, z in ((-380.0, 455.0), (-380.0, 125.0))
    ]
    return _union([sheet, fold - line_gap, *beads])


def _others() -> Manifold:
    """Return the belly floor, side rails, mount brackets, line clips, a gusset and a coolant pipe on saddles."""
    clips = [
        _box((BULKHEAD_X, y - 6.0, z - 7.0), (BULKHEAD_X + LINE_OFF - LINE_DIAMETER / 2 - 0.5, y + 6.0, z + 7.0))
        for y, z in ((232.0, 110.0), (212.0, 380.0), (212.0, 500.0))
    ]
    sides = [_box((BULKHEAD_X, y, 150.0), (320.0, y + 40.0, 190.0)) for y in (-430.0, 390.0)]
    mounts = [
        _box((105.0, y, 150.0), (155.0, y + 90.0, 156.0)) + _box((127.0, y, 60.0), (133.0, y + 90.0, 152.0))
        for y in (-392.0, 302.0)
    ]
    gusset = Manifold.hull_points(
        np.array([[-150.0, y, z] for y in (-350.0, -344.0) for z in (150.0, 195.0)]
                 + [[BULKHEAD_X, y, z] for y in (-350.0, -344.0) for z in (150.0, 290.0)])
    )  # fmt: skip
    saddles = [_box((BULKHEAD_X, y, 212.0), (-206.0, y + 12.0, 224.0)) for y in (-180.0, 60.0, 300.0)]
    coolant = _pipe(COOLANT, COOLANT_DIAMETER / 2)
    floor = _box((BULKHEAD_X, -430.0, -3.0), (320.0, 430.0, 0.0))
    strap = _box((-66.0, 330.0, 0.0), (-30.0, 334.0, 205.0))
    return _union([floor, *sides, *mounts, *clips, *saddles, coolant, gusset, strap])
