"""Is a body inside the other somewhere in the motion? Asked where no surfaces ever meet."""

from __future__ import annotations

import numpy as np

from clearance.distance.body import Slide, mesh_body, point_body
from clearance.distance.fcl_engine import FclBody
from clearance.distance.inside import any_inside, one_vertex_per_body
from clearance.distance.near import distance_to, near_box
from clearance.frames import Array
from clearance.motion.bodies import SLACK_MM, MovingPair, Solid, corners
from clearance.motion.branch import TOUCH_MM
from clearance.scene.mesh import Mesh

BLOCK = 2_000_000
"""Points x vertices compared at a time."""


def inside_at_middle(pair: MovingPair) -> bool:
    """Tell whether some of a body lies inside the other at the middle of the motion.

    Where no surfaces ever touch, which body is inside which cannot change over the motion, so the
    middle of it answers for all of it.
    """
    motion, part, zone = pair.motion, pair.part, pair.zone
    rotation, shift = motion.zone_to_part(motion.middle, motion.half_shares)
    zone_points = one_vertex_per_body(zone) if isinstance(zone, Mesh) else zone
    zone_points = zone_points[near_box(zone_points, (part.vertices - shift) @ rotation, SLACK_MM)]
    if any_inside(part, zone_points @ rotation.T + shift):
        return True
    if not (isinstance(zone, Mesh) and pair.zone_closed):
        return False
    return any_inside(zone, (one_vertex_per_body(part) - shift) @ rotation)


def inside_what_is_swept(pair: MovingPair) -> bool:
    """Tell whether a piece of a body lies inside what one primitive of the other sweeps over the translations.

    Surfaces of what is swept never touch at any angles, so a piece that is within stays within: the
    middle angles and one point of the piece answer. A point is within what a primitive sweeps exactly
    where what the point sweeps the other way meets the primitive.
    """
    motion = pair.motion
    if not any(len(slide.edges) for slide in motion.slides):
        return False
    rotation, shift = motion.zone_to_part(motion.middle, motion.half_shares)
    (u, _), (v, _) = motion.turns(motion.middle)
    a, b, c = motion.slides
    of_zone = Slide(np.zeros(3), np.vstack([u.T @ v @ e for e in c.edges] + [-u.T @ e for e in b.edges] + [*-a.edges]))
    zone_points = one_vertex_per_body(pair.zone) if isinstance(pair.zone, Mesh) else pair.zone
    reach = of_zone.reach_mm + SLACK_MM
    zone_points = zone_points[near_box(zone_points, (pair.part.vertices - shift) @ rotation, 2 * reach)]
    if _meets(zone_points @ rotation.T + shift, of_zone, pair.part):
        return True
    seen = (one_vertex_per_body(pair.part) - shift) @ rotation
    return _meets(seen, of_zone.reversed().turned(rotation.T), pair.zone)


def _meets(points: Array, slide: Slide, other: Solid) -> bool:
    """Tell whether what (n, 3) points sweep over `slide`, counted from its middle, meets a primitive of `other`."""
    centred = Slide(-slide.edges.sum(axis=0) / 2, slide.edges)
    reach = centred.reach_mm + SLACK_MM
    if not len(points):
        return False
    if not isinstance(other, Mesh):
        other = other[near_box(other, points, reach)]
    places = corners(other)
    if not len(places):
        return False
    points = points[near_box(points, places, reach)]
    points = points[distance_to(other, points) <= reach] if len(points) else points
    if not len(points):
        return False
    if len(slide.edges) > 2 and _holds_any(points, centred, places):
        return True
    if not isinstance(other, Mesh):  # Points of a scan meet only where one sweeps over the other.
        return False
    return FclBody(point_body(points, centred)).closest(FclBody(mesh_body(other))).distance_mm <= TOUCH_MM


def _holds_any(points: Array, slide: Slide, places: Array) -> bool:
    """Tell whether one of (k, 3) `places` lies in the parallelepiped that one of `points` sweeps."""
    back = np.linalg.pinv(slide.edges.T)
    flat = slide.edges.T @ back
    low, high = points.min(axis=0) - slide.reach_mm, points.max(axis=0) + slide.reach_mm
    places = places[((places >= low) & (places <= high)).all(axis=1)]
    step = max(1, BLOCK // max(len(places), 1))
    for start in range(0, len(points), step):
        away = places[None] - points[start : start + step, None] - slide.base
        shares = away @ back.T
        spanned = np.abs(away @ flat.T - away).max(axis=-1) <= TOUCH_MM
        if (((shares >= 0) & (shares <= 1)).all(axis=-1) & spanned).any():
            return True
    return False
