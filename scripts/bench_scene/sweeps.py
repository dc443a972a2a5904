"""The sweeps that the benchmark times, and what they are given."""

from __future__ import annotations

import numpy as np

from bench_scene.files import points
from bench_scene.shapes import Array, Shape, part
from clearance.motion.pair import PairMotion
from clearance.motion.result import Sweep
from clearance.motion.rock import Rock
from clearance.motion.sweep import sweep
from clearance.motion.zone_motion import Travel
from clearance.scene.mesh import Mesh

TOLERANCE_MM = 0.02
AXIS = np.array([0.0, 250.0, 0.0]), np.array([1.0, 0.0, 0.0])


def _rock(out_mm: float) -> Rock:
    point, direction = AXIS
    roll = (float(np.radians(-4)), float(np.radians(4)))
    return Rock(
        point=point, direction=direction, up=np.array([0.0, 0, 1]), forward=np.array([0.0, 1, 0]), roll_rad=roll,
        lift_mm=(-out_mm, out_mm), shift_mm=(-out_mm, out_mm),
    )  # fmt: skip


TRAVEL = Travel(
    point=np.array([700.0, 0, -150]),
    direction=np.array([0.0, 1, 0]),
    range_rad=(float(np.radians(-0.15)), float(np.radians(0.15))),
)

MOTIONS = {
    "roll": PairMotion(rock=_rock(0.0), turned="part"),
    "roll x lift x shift": PairMotion(rock=_rock(0.5), turned="part"),
    "roll x lift x shift x travel": PairMotion(rock=_rock(0.5), turned="part", travel=TRAVEL),
}
"""Part on the engine, everything else on the chassis."""


def mesh_of(shape: Shape) -> Mesh:
    """Return a shape as the program's mesh."""
    return Mesh(*shape)


def points_near(count: int, crop_mm: float | None = None) -> Array:
    """Return the bay's points clear of the part's way, or only those within `crop_mm` of its box.

    The axle shaft, which the part would meet, and flying points are left out.
    """
    body, _ = part()
    low, high = body.min(axis=0), body.max(axis=0)
    kept = []
    for block in points(count):
        block = block[~((block[:, 0] > 40) & (block[:, 0] < 500) & (block[:, 1] < 60) & (block[:, 2] < -120))]
        block = block[(np.abs(block) < 900).all(axis=1)]
        if crop_mm is not None:
            block = block[((block >= low - crop_mm) & (block <= high + crop_mm)).all(axis=1)]
        kept.append(block)
    return np.concatenate(kept)


def swept(body: Mesh, zone: Mesh | Array, motion: PairMotion) -> Sweep:
    """Return the certified sweep, filter and build included."""
    return sweep(body, True, zone, False, motion, TOLERANCE_MM)
