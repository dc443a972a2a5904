"""Smallest clearance of each point of part and zone over sampled poses: for colours and patches, not verdicts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.spatial import cKDTree

from clearance.distance.inside import Surface
from clearance.frames import Array
from clearance.motion.result import ClearanceField, MotionState
from clearance.motion.rock import PairMotion
from clearance.scene.cubes import cubes
from clearance.scene.mesh import IntArray, Mesh

ROLL_STEPS = 4
"""Intervals into which the roll range is cut."""

MOST_POINTS = 60_000
"""Zone points worked out one by one; of more, one speaks for its neighbours."""

SLACK_MM = 0.25
"""A pose is not asked where it could lower a value by less than this."""

Nearest = Callable[[Array], tuple[Array, IntArray]]
"""Points (k, 3) to signed distances (k,), mm, and the nearest primitives (k,)."""


def fields(
    part: Mesh, zone: Mesh | Array, zone_closed: bool, motion: PairMotion, cap_mm: float
) -> tuple[ClearanceField, ClearanceField]:
    """Return the field of the part's vertices against the zone and of the zone's points against the part.

    Parameters
    ----------
    part : Mesh
        Bay frame, neutral pose, mm.
    zone : Mesh or (n, 3) float64
        Bay frame, neutral pose, mm. The field is per mesh vertex or per point.
    zone_closed : bool
        Whether the zone's mesh bounds a solid, so that a point inside it counts as negative.
    cap_mm : float
        Values are not worked out beyond this.
    """
    states = sampled_states(motion)
    zone_places = zone.vertices if isinstance(zone, Mesh) else zone
    against_zone = _to_mesh(zone, zone_closed) if isinstance(zone, Mesh) else _to_points(zone, cap_mm)
    on_part, _ = _least(part.vertices, zone_places, against_zone, motion, states, cap_mm, of_part=True)
    speaker, group, cell_mm = _thinned(zone_places)
    spoken, touched = _least(
        zone_places[speaker], part.vertices, _to_mesh(part, True), motion, states, cap_mm, of_part=False
    )
    within = spoken < 0
    for corner in part.faces[touched[within]].T:
        np.minimum.at(on_part, corner, spoken[within])
    return (
        _field(on_part, cap_mm, may_be_lower(motion, part.vertices)),
        _field(spoken[group], cap_mm, may_be_lower(motion, zone_places) + cell_mm * np.sqrt(3.0)),
    )


def may_be_lower(motion: PairMotion, points: Array) -> Array:
    """Return how far, (n,) mm, the clearance of each point may lie below its least sampled one.

    That is the farthest the point moves, relative to the other body, from any pose to the nearest
    sampled one (half a roll step as a chord, and the place in lift x shift farthest from the
    sampled ones: at most the half diagonal, half of that on a single line), and the slack.
    """
    low, high = motion.roll_rad
    chord = 2 * np.sin(min((high - low) / ROLL_STEPS / 4, np.pi / 2))
    slide = motion.slide.reach_mm / (1 if len(motion.slide.edges) > 1 else 2)
    lower: Array = chord * _arms(motion, points) + slide + (SLACK_MM if motion.turned else 0.0)
    return lower


def least_sampled(part: Mesh, points: Array, motion: PairMotion) -> float:
    """Return the least signed distance, mm, of (n, 3) points to the part at the sampled poses: an upper bound."""
    states, cap = sampled_states(motion), np.inf
    return float(_least(points, part.vertices, _to_mesh(part, True), motion, states, cap, of_part=False)[0].min())


def sampled_states(motion: PairMotion) -> list[MotionState]:
    """Return the sampled poses: rolls in even steps, each with the middle and the corners of lift x shift."""
    if not (motion.rock and motion.turned):
        return [MotionState()]
    rock = motion.rock
    steps = ROLL_STEPS + 1 if rock.roll_rad[1] > rock.roll_rad[0] else 1
    rolls = np.linspace(*rock.roll_rad, steps)
    middle = (sum(rock.lift_mm) / 2, sum(rock.shift_mm) / 2)
    places = sorted({middle, *product(rock.lift_mm, rock.shift_mm)})
    there_and_back = [rolls if i % 2 == 0 else rolls[::-1] for i in range(len(places))]
    return [
        MotionState(roll_rad=float(roll), lift_mm=lift, shift_mm=shift)
        for (lift, shift), run in zip(places, there_and_back, strict=True)
        for roll in run
    ]


def _field(values: Array, cap: float, lower: Array) -> ClearanceField:
    return ClearanceField(values_mm=values, cap_mm=cap, may_be_lower_mm=float(lower[values < cap].max(initial=0.0)))


def _arms(motion: PairMotion, points: Array) -> Array:
    """Radius, (n,) mm, on which each point turns against the other body at any lift and shift."""
    if not motion.turned:
        return np.zeros(len(points))
    return motion.radii_mm(points) + motion.slide.longest_mm


@dataclass
class _Known:
    """What an evaluated pose tells about all points: distances there are no lower than `floor`."""

    floor: Array
    roll_rad: float
    translation: Array


def _thinned(points: Array) -> tuple[IntArray, IntArray, float]:
    """Let one point speak for its cube where there are many.

    Returns the speakers, for each point the place of its speaker among them, and the cube's side, mm.
    """
    everyone = np.arange(len(points), dtype=np.int64)
    if len(points) <= MOST_POINTS:
        return everyone, everyone, 0.0
    cell = 1.0
    while True:
        first, group = cubes(points, cell)
        if len(first) <= MOST_POINTS:
            return first, group, cell
        cell *= 1.5


def _outside_box(corners: Array, points: Array) -> Array:
    """Distance, (n,) mm, to the bounding box of `corners`; minus infinity inside, where it tells nothing."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    away: Array = np.linalg.norm(np.maximum(np.maximum(low - points, points - high), 0.0), axis=1)
    return np.where(away > 0, away, -np.inf)


def _least(
    points: Array,
    others: Array,
    nearest: Nearest,
    motion: PairMotion,
    states: list[MotionState],
    cap: float,
    *,
    of_part: bool,
) -> tuple[Array, IntArray]:
    """Least signed distance, capped, over the states, and the primitive it was found at.

    A pose is asked only for points that may come lower there: between two poses a distance changes
    by no more than the point moves relative to the other body.
    """
    best, at = np.full(len(points), cap), np.zeros(len(points), dtype=np.int64)
    arms = _arms(motion, points)
    known: _Known | None = None
    for state in states:
        pose, other = motion.poses(state)
        seen = other.inverse() @ pose if of_part else pose.inverse() @ other
        roll, translation = state.roll_rad or 0.0, _translation(motion, state)
        if known is None:
            floor = _outside_box(others, seen.apply(points))
        else:
            turn = 2 * np.sin(min(abs(roll - known.roll_rad) / 2, np.pi / 2))
            floor = known.floor - turn * arms - float(np.linalg.norm(translation - known.translation))
        ask = floor < best - (SLACK_MM if known is not None else 0.0)
        distance, primitive = nearest(seen.apply(points[ask]))
        floor[ask] = distance
        known = _Known(floor, roll, translation)
        won = distance < best[ask]
        lower = np.flatnonzero(ask)[won]
        best[lower], at[lower] = distance[won], primitive[won]
    return best, at


def _translation(motion: PairMotion, state: MotionState) -> Array:
    if motion.rock is None:
        return np.zeros(3)
    shifted: Array = (state.lift_mm or 0.0) * motion.rock.up + (state.shift_mm or 0.0) * motion.rock.forward
    return shifted


def _to_points(points: Array, cap: float) -> Nearest:
    tree = cKDTree(points)

    def nearest(asked: Array) -> tuple[Array, IntArray]:
        distance, index = tree.query(asked, distance_upper_bound=cap, workers=-1)
        return np.minimum(distance, cap), np.asarray(index, dtype=np.int64)

    return nearest


def _to_mesh(mesh: Mesh, signed: bool) -> Nearest:
    surface = Surface(mesh)

    def nearest(asked: Array) -> tuple[Array, IntArray]:
        distance, face, _ = surface.nearest(asked, signed=signed)
        return distance, face

    return nearest
