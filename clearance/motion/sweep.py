"""Certified smallest clearance of a part and a zone over the engine's rock.

Translations are folded into the body that stands still, exactly (`distance.body`); only the roll is
searched. Over a roll cell of half width h the clearance cannot fall below its value at the centre by
more than 2 R sin(h / 2), R the largest distance of the turned body from the rock axis.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import lsq_linear

from clearance.bounds import Bound
from clearance.distance.body import Body, Slide, mesh_body, point_body
from clearance.distance.fcl_engine import Closest, EngineDisagreementError, FclBody
from clearance.distance.inside import any_inside, one_vertex_per_body
from clearance.distance.near import balls_of_mesh, balls_of_points, distance_to
from clearance.frames import Array
from clearance.motion.branch import TOUCH_MM, Minimum, minimise
from clearance.motion.interference import deepest, outward
from clearance.motion.result import MotionState, Sweep
from clearance.motion.rock import PairMotion
from clearance.scene.mesh import Mesh

Solid = Mesh | Array
"""A mesh, or (n, 3) scan points, mm."""

CELL_MM = 6.0
"""Side of the cubes in which scan points are filtered together."""

MOST_EVALUATIONS = 200_000
"""Distance queries after which the search gives up with the bound it has."""

SLACK_MM = 1e-6
"""Margin of the filters over rounding, far above what float64 loses on lengths within a bay."""


@dataclass(frozen=True, eq=False)
class _Touch:
    """A pose at which the bodies meet and the witness points there, at the neutral pose."""

    worst: MotionState
    on_part: Array
    on_zone: Array
    direction: Array


@dataclass(frozen=True, eq=False)
class _Pair:
    """Part and zone in a frame shifted to the part, so that float64 works on small numbers."""

    part: Mesh
    part_closed: bool
    zone: Solid
    zone_closed: bool
    motion: PairMotion
    origin: Array


def sweep(
    part: Mesh, part_closed: bool, zone: Solid, zone_closed: bool, motion: PairMotion, tolerance_mm: float
) -> Sweep:
    """Bound the smallest clearance of `part` and `zone` over `motion`.

    Parameters
    ----------
    part : Mesh
        Bay frame at the neutral pose, mm.
    part_closed, zone_closed : bool
        Whether the mesh bounds a solid. For an open part inside is decided by winding number at
        the middle of the motion.
    zone : Mesh or (n, 3) float64
        Bay frame at the neutral pose, mm.
    tolerance_mm : float
        Width of the bound aimed at where the bodies are clear.

    Returns
    -------
    Sweep
        Its bound contains the true minimum for every pose of the motion, not only sampled ones.
        Where the bodies interfere it contains minus the interference depth, less tightly. Bodies
        nearer than `TOUCH_MM` (plus what nearly parallel edges cost) count as touching.
    """
    pair = _shifted(part, part_closed, zone, zone_closed, motion)
    near_part, near_zone = _drop_far(pair)
    turned_is_part = motion.turned != "zone"
    turned, standing = (near_part, near_zone) if turned_is_part else (near_zone, near_part)
    moving = FclBody(_body(turned, None))
    fixed_body = _body(standing, motion.slide.reversed())
    fixed = FclBody(fixed_body)

    def closest(roll: float) -> Closest:
        moving.place(*pair.motion.rotation(roll))
        return moving.closest(fixed)

    radius = float(pair.motion.radii_mm(_corners(turned)).max())
    inside = _inside_at_middle(pair)
    found = minimise(
        lambda at: closest(float(at[0])).distance_mm,
        lambda half: 2 * radius * np.sin(np.minimum(half, np.pi) / 2),
        np.array([motion.roll_rad[0]]),
        np.array([motion.roll_rad[1]]),
        tolerance_mm,
        moving.excess_mm(fixed),
        max_evaluations=1 if inside else MOST_EVALUATIONS,
    )
    touching = found.bound.upper <= TOUCH_MM + moving.excess_mm(fixed)
    contained = not touching and (inside or _inside_what_is_swept(pair))
    at = closest(float(found.best[0]))
    if touching or contained:
        return _interfering(pair, found, contained, None if contained else _touch(pair, found, at, turned, standing))
    return _clear(pair, found, at, turned, standing)


def _shifted(part: Mesh, part_closed: bool, zone: Solid, zone_closed: bool, motion: PairMotion) -> _Pair:
    """Move the origin to the middle of the part."""
    origin = (part.vertices.min(axis=0) + part.vertices.max(axis=0)) / 2
    moved_zone = Mesh(zone.vertices - origin, zone.faces) if isinstance(zone, Mesh) else zone - origin
    return _Pair(
        Mesh(part.vertices - origin, part.faces), part_closed, moved_zone, zone_closed, motion.about(origin), origin
    )


def _corners(solid: Solid) -> Array:
    return solid.vertices[np.unique(solid.faces)] if isinstance(solid, Mesh) else solid


def _body(solid: Solid, slide: Slide | None) -> Body:
    arguments = () if slide is None else (slide,)
    return mesh_body(solid, *arguments) if isinstance(solid, Mesh) else point_body(solid, *arguments)


def _drop_far(pair: _Pair) -> tuple[Mesh, Solid]:
    """Keep the zone's primitives, then the part's triangles, that can decide the minimum.

    At the middle of the motion the clearance is at most `nearest`; no pose brings a point nearer
    than its distance there less its travel.
    """
    motion, part, zone = pair.motion, pair.part, pair.zone
    low, high = motion.roll_rad
    rotation, shift = motion.rotation((low + high) / 2)
    slide = motion.slide
    shift = shift + slide.middle
    turn = 2 * np.sin(min((high - low) / 4, np.pi / 2))
    balls = balls_of_mesh(zone) if isinstance(zone, Mesh) else balls_of_points(zone, CELL_MM)
    if motion.turned == "zone":
        centres = balls.centres @ rotation.T + shift
        travel = turn * (motion.radii_mm(balls.centres) + balls.radii)
    else:
        centres = (balls.centres - shift) @ rotation
        travel = np.full(len(centres), turn * float(motion.radii_mm(part.vertices).max()))
    away = distance_to(part, centres)
    nearest = float(away.min())
    keep = away - balls.radii - travel - slide.reach_mm <= nearest + SLACK_MM
    near_zone = _subset(zone, keep[balls.group])
    return _near_part(pair, near_zone, nearest, rotation, shift, turn), near_zone


def _near_part(pair: _Pair, zone: Solid, nearest: float, rotation: Array, shift: Array, turn: float) -> Mesh:
    """Keep the part's triangles that can come within `nearest` of the kept zone."""
    motion, part = pair.motion, pair.part
    balls = balls_of_mesh(part)
    if motion.turned == "zone":
        centres = (balls.centres - shift) @ rotation
        travel = np.full(len(centres), turn * float(motion.radii_mm(_corners(zone)).max()))
    else:
        centres = balls.centres @ rotation.T + shift
        travel = turn * (motion.radii_mm(balls.centres) + balls.radii)
    away = distance_to(zone, centres)
    keep = away - balls.radii - travel - motion.slide.reach_mm <= nearest + SLACK_MM
    return Mesh(part.vertices, part.faces[keep])


def _subset(solid: Solid, keep: NDArray[np.bool_]) -> Solid:
    return Mesh(solid.vertices, solid.faces[keep]) if isinstance(solid, Mesh) else solid[keep]


def _inside_at_middle(pair: _Pair) -> bool:
    """Tell whether some of a body lies inside the other at the middle of the motion.

    Where no surfaces ever touch, which body is inside which cannot change over the motion, so the
    middle of it answers for all of it.
    """
    motion, part, zone = pair.motion, pair.part, pair.zone
    rotation, moved_by = _middle(motion)
    zone_points = one_vertex_per_body(zone) if isinstance(zone, Mesh) else zone
    turned_is_part = motion.turned != "zone"
    if any_inside(part, (zone_points - moved_by) @ rotation if turned_is_part else zone_points @ rotation.T + moved_by):
        return True
    if not (isinstance(zone, Mesh) and pair.zone_closed):
        return False
    corners = one_vertex_per_body(part)
    return any_inside(zone, corners @ rotation.T + moved_by if turned_is_part else (corners - moved_by) @ rotation)


def _inside_what_is_swept(pair: _Pair) -> bool:
    """Tell whether the turned body lies inside what a triangle of the other sweeps over the slide.

    Asked where no surfaces ever touch: then a corner of each of its pieces answers for the piece.
    """
    motion = pair.motion
    turned, standing = (pair.zone, pair.part) if motion.turned == "zone" else (pair.part, pair.zone)
    if not len(motion.slide.edges) or not isinstance(standing, Mesh):
        return False
    rotation, moved_by = _middle(motion)
    at_middle = (one_vertex_per_body(turned) if isinstance(turned, Mesh) else turned) @ rotation.T + moved_by
    reach = motion.slide.reach_mm + SLACK_MM
    low, high = standing.vertices.min(axis=0) - reach, standing.vertices.max(axis=0) + reach
    at_middle = at_middle[((at_middle >= low) & (at_middle <= high)).all(axis=1)]
    at_middle = at_middle[distance_to(standing, at_middle) <= reach] if len(at_middle) else at_middle
    if not len(at_middle):
        return False
    swept = FclBody(point_body(at_middle - motion.slide.middle, motion.slide))
    return swept.closest(FclBody(mesh_body(standing))).distance_mm <= TOUCH_MM


def _middle(motion: PairMotion) -> tuple[Array, Array]:
    """Rotation (3, 3) and translation (3,) of the turned body at the middle of roll, lift and shift."""
    rotation, shift = motion.rotation(sum(motion.roll_rad) / 2)
    return rotation, shift + motion.slide.middle


def _clear(pair: _Pair, found: Minimum, at: Closest, turned: Solid, standing: Solid) -> Sweep:
    """Turn the best pose of the search into named values and witness points, checked afresh."""
    motion = pair.motion
    roll = float(found.best[0])
    rotation, shift = motion.rotation(roll)
    on_standing, translation = _unfold(at.on_b, _primitive(standing, at.owner_b), motion.slide)
    on_turned = (at.on_a - shift) @ rotation
    distance = float(np.linalg.norm(on_turned @ rotation.T + shift + translation - on_standing))
    if abs(distance - at.distance_mm) > 1e-6:
        raise EngineDisagreementError(f"witness points are {distance} mm apart, the engine said {at.distance_mm} mm")
    lower = found.bound.lower
    if lower <= 0:  # The search gave up before it could tell grazing from touching.
        lower = min(lower, deepest(pair.part, pair.zone, pair.zone_closed, motion).bound.lower)
    away = at.on_a - at.on_b if motion.turned != "zone" else at.on_b - at.on_a
    direction = away / np.linalg.norm(away)
    on_part, on_zone = (on_turned, on_standing) if motion.turned != "zone" else (on_standing, on_turned)
    return Sweep(
        clearance=Bound(lower, max(found.bound.upper, distance)),
        worst=motion.state(roll, translation),
        on_part=on_part + pair.origin,
        on_zone=on_zone + pair.origin,
        direction=direction @ rotation if motion.turned == "part" else direction,
        cells=found.cells,
        evaluations=found.evaluations,
    )


def _unfold(point: Array, corners: Array, slide: Slide) -> tuple[Array, Array]:
    """Write a witness on a swept primitive as (point on the primitive) - (translation).

    Solves for barycentric weights and slide parameters, all within [0, 1]. Returns both (3,), mm.
    """
    if len(slide.edges) == 0:
        return point + slide.base, slide.base
    weights = 1e3 * np.concatenate([np.ones(len(corners)), np.zeros(len(slide.edges))])
    system = np.vstack([np.column_stack([corners.T, -slide.edges.T]), weights])
    wanted = np.concatenate([point + slide.base, [1e3]])
    solution = lsq_linear(system, wanted, bounds=(0, 1), method="bvls", tol=1e-14).x
    share = solution[: len(corners)]
    translation = slide.base + solution[len(corners) :] @ slide.edges
    return share / share.sum() @ corners, translation


def _touch(pair: _Pair, found: Minimum, at: Closest, turned: Solid, standing: Solid) -> _Touch:
    """Find where the two primitives meet at the roll that was found: the translation and both points."""
    motion, roll = pair.motion, float(found.best[0])
    rotation, shift = motion.rotation(roll)
    own = _primitive(turned, at.owner_a)
    other = _primitive(standing, at.owner_b)
    edges, base = motion.slide.edges, motion.slide.base
    columns = np.column_stack([(own @ rotation.T + shift).T, edges.T, -other.T])
    sums = np.zeros((2, columns.shape[1]))
    sums[0, : len(own)] = sums[1, -len(other) :] = 1e3
    system, wanted = np.vstack([columns, sums]), np.concatenate([-base, [1e3, 1e3]])
    shares = lsq_linear(system, wanted, bounds=(0, 1), method="bvls", tol=1e-14).x
    translation = base + shares[len(own) : -len(other)] @ edges
    points = (shares[: len(own)] @ own, shares[-len(other) :] @ other)
    on_part, on_zone = points if motion.turned != "zone" else points[::-1]
    return _Touch(motion.state(roll, translation), on_part, on_zone, -outward(pair.part, on_part))


def _primitive(solid: Solid, index: int) -> Array:
    """(3, 3) corners of a triangle, or (1, 3) for a scan point."""
    corners: Array = solid.triangles[index] if isinstance(solid, Mesh) else solid[index][None]
    return corners


def _interfering(pair: _Pair, found: Minimum, contained: bool, touch: _Touch | None) -> Sweep:
    """Ask for the depth where surfaces touch or a body is swallowed."""
    depth = deepest(pair.part, pair.zone, pair.zone_closed, pair.motion)
    upper = min(0.0, depth.bound.upper)
    lower = min(depth.bound.lower, upper)
    found_at = _Touch(
        pair.motion.state(depth.roll_rad, depth.translation), depth.on_part, depth.on_zone, depth.direction
    )
    shown = touch if touch and depth.bound.upper >= 0 else found_at
    return Sweep(
        clearance=Bound(lower, upper),
        worst=shown.worst,
        on_part=shown.on_part + pair.origin,
        on_zone=shown.on_zone + pair.origin,
        direction=shown.direction,
        cells=np.array([[*pair.motion.roll_rad, lower]]),
        evaluations=found.evaluations + depth.evaluations,
        contained=contained,
    )
