"""Certified smallest clearance of a part and a zone over their motion.

Translations are folded into the bodies, exactly (`posed`); only angles are searched. A link's two
angles are searched over a rectangle that encloses where the shaft points, so that its bound may be
wider than asked for, and its upper end comes from states of the rock and the travel alone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.bounds import Bound
from clearance.distance.fcl_engine import Closest
from clearance.frames import Array
from clearance.motion.bodies import MovingPair, Near, Solid, near_pieces, shifted
from clearance.motion.bounded import bounded
from clearance.motion.branch import TOUCH_MM, Minimum
from clearance.motion.interference import deepest, outward
from clearance.motion.pair import PairMotion
from clearance.motion.posed import PlacedBodies, RebuiltZone, posed
from clearance.motion.result import MotionState, Sweep
from clearance.motion.swallowed import inside_at_middle, inside_what_is_swept
from clearance.motion.witness import clear_witness, touching_witness
from clearance.scene.mesh import Mesh


@dataclass(frozen=True, eq=False)
class _Spot:
    """A state, and the witness points and direction there, at the neutral pose."""

    worst: MotionState
    on_part: Array
    on_zone: Array
    direction: Array


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
    pair = shifted(part, part_closed, zone, zone_closed, motion)
    near, bodies, found, touching, contained = _searched(pair, tolerance_mm)
    if pair.motion.shaft is not None:
        return _of_link(pair, near, bodies, found, touching, contained)
    if touching or contained:
        return _interfering(pair, near, bodies, found, contained)
    return _clear(pair, near, bodies, found)


def sweep_if_clear(
    part: Mesh, part_closed: bool, zone: Solid, zone_closed: bool, motion: PairMotion, tolerance_mm: float
) -> Sweep | None:
    """Return what `sweep` does, or None where the bodies meet: no depth is asked for. The zone is no link."""
    pair = shifted(part, part_closed, zone, zone_closed, motion)
    near, bodies, found, touching, contained = _searched(pair, tolerance_mm)
    return None if touching or contained else _clear(pair, near, bodies, found)


def _searched(pair: MovingPair, tolerance_mm: float) -> tuple[Near, PlacedBodies | RebuiltZone, Minimum, bool, bool]:
    """Search the distance of surfaces, and tell whether they touch, or else a piece of a body is inside the other."""
    near = near_pieces(pair)
    bodies = posed(pair.motion, near)
    inside = inside_at_middle(pair)
    found = bodies.search(tolerance_mm, 1) if inside else bounded(pair.motion, near, bodies, tolerance_mm)
    touching = found.bound.upper <= TOUCH_MM + bodies.excess_mm
    contained = not touching and (inside or inside_what_is_swept(pair))
    return near, bodies, found, touching, contained


def _clear(pair: MovingPair, near: Near, bodies: PlacedBodies | RebuiltZone, found: Minimum) -> Sweep:
    """Turn the best angles of the search into named values and witness points, checked afresh."""
    spot, distance = _clear_spot(pair, near, bodies, found.best)
    lower = found.bound.lower
    if lower <= 0:  # The search gave up before it could tell grazing from touching.
        lower = min(lower, deepest(pair.part, pair.zone, pair.zone_closed, pair.motion).bound.lower)
    bound = Bound(lower, max(found.bound.upper, distance))
    return _told(pair, bound, spot, found.cells, found.evaluations)


def _clear_spot(
    pair: MovingPair, near: Near, bodies: PlacedBodies | RebuiltZone, angles: Array, state: MotionState | None = None
) -> tuple[_Spot, float]:
    """Witness of the closest approach at given angles, and its distance; `state` where the angles do not name it."""
    motion, at = pair.motion, bodies.closest(angles)
    on_part, on_zone, shares, distance = clear_witness(motion, near, angles, at, between_on_part=bodies.between_on_part)
    (u, _), _ = motion.turns(angles)
    away = (at.on_a - at.on_b) @ u
    return _Spot(state or motion.state(angles, shares), on_part, on_zone, away / np.linalg.norm(away)), distance


def _interfering(
    pair: MovingPair, near: Near, bodies: PlacedBodies | RebuiltZone, found: Minimum, contained: bool
) -> Sweep:
    """Ask for the depth where surfaces touch or a body is swallowed."""
    motion = pair.motion
    depth = deepest(pair.part, pair.zone, pair.zone_closed, motion)
    upper = min(0.0, depth.bound.upper)
    lower = min(depth.bound.lower, upper)
    if contained or depth.bound.upper < 0:
        spot = _Spot(motion.state(depth.angles, depth.shares), depth.on_part, depth.on_zone, depth.direction)
    else:
        spot = _touching_spot(pair, near, found.best, bodies.closest(found.best))
    return _told(
        pair, Bound(lower, upper), spot, _one_cell(motion, lower), found.evaluations + depth.evaluations, contained
    )


def _touching_spot(pair: MovingPair, near: Near, angles: Array, at: Closest, state: MotionState | None = None) -> _Spot:
    on_part, on_zone, shares = touching_witness(pair.motion, near, angles, at)
    return _Spot(state or pair.motion.state(angles, shares), on_part, on_zone, -outward(pair.part, on_part))


def _of_link(
    pair: MovingPair,
    near: Near,
    bodies: PlacedBodies | RebuiltZone,
    found: Minimum,
    touching: bool,
    contained: bool,
) -> Sweep:
    """Bound from below over the rectangle of pointing angles, from above at states that the rock and travel take."""
    motion = pair.motion
    values, angles, distance, asked = _best_state(motion, bodies, found.best)
    state, evaluations = motion.link_state(values), found.evaluations + asked
    lower, cells = found.bound.lower, found.cells
    if touching or contained or lower <= 0:
        depth = deepest(pair.part, pair.zone, pair.zone_closed, motion)
        lower = min(depth.bound.lower, 0.0 if touching or contained else lower)
        cells, evaluations = _one_cell(motion, lower), evaluations + depth.evaluations
    if contained or distance <= TOUCH_MM + bodies.excess_mm:
        rotation, shift = motion.zone_to_part(angles, np.zeros(0))
        there = _moved(pair.zone, rotation, shift)
        depth = deepest(pair.part, there, pair.zone_closed, PairMotion())
        upper = min(0.0, depth.bound.upper)
        on_zone = (depth.on_zone - shift) @ rotation
        spot = _Spot(state, depth.on_part, on_zone, depth.direction)
        if not contained and depth.bound.upper >= 0:
            spot = _touching_spot(pair, near, angles, bodies.closest(angles), state)
        return _told(pair, Bound(min(lower, upper), upper), spot, cells, evaluations + depth.evaluations, contained)
    spot, distance = _clear_spot(pair, near, bodies, angles, state)
    return _told(pair, Bound(lower, max(lower, distance)), spot, cells, evaluations)


def _best_state(
    motion: PairMotion, bodies: PlacedBodies | RebuiltZone, wanted: Array
) -> tuple[Array, Array, float, int]:
    """Least clearance among real states of a link: sampled ones and the one that comes nearest to the wanted angles.

    Returns roll, lift, shift and travel, the angles there, the clearance, mm, and the distances asked for.
    """
    assert motion.shaft is not None
    candidates = np.vstack([motion.shaft.corners_and_middle(), motion.shaft.nearest_state(wanted)])
    places = motion.shaft.coordinates(candidates)
    distances = [bodies.closest(at).distance_mm for at in places]
    best = int(np.argmin(distances))
    values, least, asked = candidates[best], distances[best], len(distances)
    low, high = motion.shaft.box
    step = (high - low) / 4
    while step.max(initial=0.0) > 0 and asked < 400 and (step > (high - low) * 1e-4).any():
        tries = np.clip(values + np.vstack([np.diag(step), -np.diag(step)]), low, high)
        tries = tries[(tries != values).any(axis=1)]
        found = [bodies.closest(at).distance_mm for at in motion.shaft.coordinates(tries)] if len(tries) else [np.inf]
        asked += len(tries)
        if min(found) < least:
            values, least = tries[int(np.argmin(found))], min(found)
        else:
            step = step / 3
    return values, motion.shaft.coordinates(values[None])[0], least, asked


def _moved(solid: Solid, rotation: Array, shift: Array) -> Solid:
    if isinstance(solid, Mesh):
        return Mesh(solid.vertices @ rotation.T + shift, solid.faces)
    return solid @ rotation.T + shift


def _one_cell(motion: PairMotion, lower: float) -> Array:
    return np.array([[*motion.low, *motion.high, lower]])


def _told(
    pair: MovingPair, clearance: Bound, spot: _Spot, cells: Array, evaluations: int, contained: bool = False
) -> Sweep:
    """Return the result in the coordinates of the bay."""
    return Sweep(
        clearance=clearance,
        worst=spot.worst,
        on_part=spot.on_part + pair.origin,
        on_zone=spot.on_zone + pair.origin,
        direction=spot.direction,
        cells=cells,
        angles=pair.motion.angles,
        evaluations=evaluations,
        contained=contained,
        link_axes=None if pair.motion.shaft is None else pair.motion.shaft.axes,
    )
