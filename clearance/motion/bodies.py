"""A pair's two bodies with their motion, and which of their pieces can decide the smallest clearance."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from clearance.distance.near import (
    Balls,
    balls_of_mesh,
    balls_of_points,
    come_within,
    distance_to,
    near_box,
    nearest_first,
    outside_box,
)
from clearance.frames import Array
from clearance.motion.pair import PairMotion
from clearance.scene.mesh import Mesh

Solid = Mesh | Array
"""A mesh, or (n, 3) scan points, mm."""

CELL_MM = 6.0
"""Side of the cubes in which scan points are filtered together."""

SAMPLE = 5000
"""Scan points asked first how near they are to the part's box."""

SLACK_MM = 1e-6
"""Margin of the filters over rounding, far above what float64 loses on lengths within a bay."""


@dataclass(frozen=True, eq=False)
class MovingPair:
    """Part and zone in a frame shifted to the part, so that float64 works on small numbers.

    Scan points that the motion brings neither nearest to the part nor into it are left out of the zone.
    """

    part: Mesh
    part_closed: bool
    zone: Solid
    zone_closed: bool
    motion: PairMotion
    origin: Array


@dataclass(frozen=True, eq=False)
class Near:
    """The pieces that can decide, and what they decide: dropped ones stay farther apart than `within_mm`."""

    part: Mesh
    zone: Solid
    within_mm: float


def shifted(part: Mesh, part_closed: bool, zone: Solid, zone_closed: bool, motion: PairMotion) -> MovingPair:
    """Return the pair with the origin in the middle of the part."""
    moved_part, origin = _centred(part)
    motion = motion.about(origin)
    moved_zone = (
        Mesh(zone.vertices - origin, zone.faces)
        if isinstance(zone, Mesh)
        else _boxed(moved_part, zone, origin, motion) - origin
    )
    return MovingPair(moved_part, part_closed, moved_zone, zone_closed, motion, origin)


@lru_cache(maxsize=4)
def _centred(part: Mesh) -> tuple[Mesh, Array]:
    """Return a part moved to the origin, and where that was: one object a part, whose search tree is built once."""
    origin = (part.vertices.min(axis=0) + part.vertices.max(axis=0)) / 2
    return Mesh(part.vertices - origin, part.faces), origin


def corners(solid: Solid) -> Array:
    """Return the (n, 3) points whose hull holds every piece of a body."""
    if not isinstance(solid, Mesh):
        return solid
    used = np.zeros(len(solid.vertices), dtype=bool)
    used[solid.faces] = True
    return solid.vertices[used]


def subset(solid: Solid, keep: NDArray[np.bool_] | NDArray[np.int64]) -> Solid:
    """Return some primitives of a body."""
    return Mesh(solid.vertices, solid.faces[keep]) if isinstance(solid, Mesh) else solid[keep]


def primitive(solid: Solid, index: int) -> Array:
    """Return the (3, 3) corners of a triangle, or (1, 3) for a scan point."""
    own: Array = solid.triangles[index] if isinstance(solid, Mesh) else solid[index][None]
    return own


def near_pieces(pair: MovingPair) -> Near:
    """Keep the zone's primitives, then the part's triangles, that can decide the minimum.

    The clearance is at most `nearest` somewhere in the motion; no state brings a primitive nearer
    than its distance at the middle less its travel.
    """
    motion, part, zone = pair.motion, pair.part, pair.zone
    rotation, shift = motion.zone_to_part(motion.middle, motion.half_shares)
    part_arms = motion.arms_mm(corners(part), of_part=True).max(axis=0)
    balls = balls_of_mesh(zone) if isinstance(zone, Mesh) else balls_of_points(zone, CELL_MM)
    spare = balls.radii + _travel(motion, balls, part_arms, of_part=False) + SLACK_MM
    away = nearest_first(part, balls.centres @ rotation.T + shift, spare)
    nearest = min(float(away.min()), _nearest_at_ends(motion, part, balls.centres))
    near_zone = subset(zone, (away <= nearest + spare)[balls.group])
    zone_arms = motion.arms_mm(corners(near_zone), of_part=False).max(axis=0)
    reach = nearest + float(motion.wander_mm(np.minimum(part_arms, zone_arms)[None])[0]) + SLACK_MM
    near_part = _in_box(part, corners(near_zone) @ rotation.T + shift, reach)
    balls = balls_of_mesh(near_part)
    spare = balls.radii + _travel(motion, balls, zone_arms, of_part=True) + SLACK_MM
    keep = come_within(near_zone, (balls.centres - shift) @ rotation, nearest + spare)
    return Near(Mesh(part.vertices, near_part.faces[keep]), near_zone, nearest + SLACK_MM)


def _in_box(part: Mesh, places: Array, reach_mm: float) -> Mesh:
    """Return the triangles that may come into the box of some places widened by a reach: those not all on one side."""
    below = part.vertices < places.min(axis=0) - reach_mm
    above = part.vertices > places.max(axis=0) + reach_mm
    a, b, c = part.faces.T
    out = (below[a] & below[b] & below[c]) | (above[a] & above[b] & above[c])
    return Mesh(part.vertices, part.faces[~out.any(axis=1)])


def _nearest_at_ends(motion: PairMotion, part: Mesh, points: Array) -> float:
    """Return the least distance, mm, of a zone's (n, 3) points to the part at the ends of the angles; inf for a link.

    The ends of a link's angles need be no states of it.
    """
    if motion.shaft is not None:
        return np.inf
    least = np.inf
    for angles in product(*zip(motion.low, motion.high, strict=True)):
        rotation, shift = motion.zone_to_part(np.array(angles), motion.half_shares)
        least = min(least, float(nearest_first(part, points @ rotation.T + shift, np.zeros(len(points))).min()))
    return least


def _boxed(part: Mesh, zone: Array, origin: Array, motion: PairMotion) -> Array:
    """Return the zone's points, counted from the bay's origin, that a motion may bring nearest to the part, or into it.

    The part and the motion are counted from `origin`.
    """
    rotation, shift = motion.zone_to_part(motion.middle, motion.half_shares)
    ends = np.array(list(product(*zip(part.vertices.min(axis=0), part.vertices.max(axis=0), strict=True))))
    travel = float(motion.wander_mm(motion.arms_mm(ends, of_part=True).max(axis=0)[None])[0])
    places = (part.vertices - shift) @ rotation + origin
    some = zone[:: max(1, len(zone) // SAMPLE)]
    for _ in range(2):  # From a bound by a sample to one by all that it leaves.
        nearest = some[np.argmin(outside_box(places, some))] - origin
        reach = float(distance_to(part, (rotation @ nearest + shift)[None])[0]) + travel + SLACK_MM
        zone = some = zone[near_box(zone, places, reach)]
    return zone


def _travel(motion: PairMotion, balls: Balls, others: Array, *, of_part: bool) -> Array:
    """How far each ball moves against the other body, (n,) mm: either may be thought to stand still."""
    arms = motion.arms_mm(balls.centres, of_part=of_part) + balls.radii[:, None]
    return motion.wander_mm(np.minimum(arms, others))


def shared_arms(motion: PairMotion, part: Mesh, zone: Solid) -> Array:
    """Return the (a,) radii on which the near pieces turn against each other, mm."""
    of_part = motion.arms_mm(corners(part), of_part=True).max(axis=0)
    shared: Array = np.minimum(of_part, motion.arms_mm(corners(zone), of_part=False).max(axis=0))
    return shared
