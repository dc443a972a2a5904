"""Smallest clearance of each point of part and zone over sampled poses: for colours and patches, not verdicts."""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearance.distance.inside import surface_of
from clearance.distance.near import come_within
from clearance.frames import Array, Pose
from clearance.motion.pair import PairMotion
from clearance.motion.result import ClearanceField, MotionState
from clearance.motion.shaft import Shaft
from clearance.scene.cubes import cubes
from clearance.scene.mesh import IntArray, Mesh

ROLL_STEPS = 4
"""Intervals into which the range of each angle is cut."""

LINK_STEPS = 2
"""Intervals into which each of roll, lift, shift and travel is cut where the zone is a link."""

MOST_POINTS = 60_000
"""Zone points worked out one by one; of more, one speaks for its neighbours."""

SLACK_MM = 0.25
"""A pose is not asked where it could lower a value by less than this."""

Nearest = Callable[[Array, float], tuple[Array, IntArray]]
"""Points (k, 3) and a distance, mm, to signed distances (k,), no more than that need be told, and primitives (k,)."""


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
    against_zone = _to_mesh(zone, zone_closed) if isinstance(zone, Mesh) else _to_points(zone)
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
    """Return how far, (n,) mm, the clearance of each point of either body may lie below its least sampled one.

    That is the farthest the point moves, relative to the other body, from any state to the nearest
    sampled one (half a step of each angle as a chord, and the place in the straight motions farthest
    from the sampled ones: at most the half diagonal, half of that on a single line), and the slack.
    """
    if not _moves(motion):
        return np.zeros(len(points))
    if motion.shaft is not None:
        low, high = motion.shaft.box
        halves = np.array([motion.shaft.turn_rad(_link_values(motion.shaft), (high - low) / LINK_STEPS / 2), 0.0])
        straight = 0.0
    else:
        halves = (motion.high - motion.low) / ROLL_STEPS / 2
        edges = sum(len(slide.edges) for slide in motion.slides)
        straight = motion.reach_mm / (1 if edges > 1 else 2)
    lower: Array = _arms(motion, points) @ motion.chords(halves) + straight + SLACK_MM
    return lower


def least_sampled(part: Mesh, points: Array, motion: PairMotion, cap: float = np.inf) -> float:
    """Return the least signed distance, mm, of (n, 3) points to the part at the sampled poses, at most `cap`."""
    return least_sampled_of(part, points, motion, cap)[0]


def least_sampled_of(part: Mesh, points: Array, motion: PairMotion, cap: float = np.inf) -> tuple[float, int]:
    """Return the same, and which point comes that near."""
    states = sampled_states(motion)
    least, _ = _least(points, part.vertices, _to_mesh(part, True), motion, states, cap, of_part=False)
    return float(least.min()), int(least.argmin())


def may_come_within(part: Mesh, points: Array, motion: PairMotion, within_mm: Array | float) -> NDArray[np.bool_]:
    """Tell which of (n, 3) zone points, mm, some pose may bring within `within_mm`, one or (n,), of the part."""
    rotation, shift = motion.zone_to_part(motion.middle, motion.half_shares)
    wander = motion.wander_mm(motion.arms_mm(points, of_part=False))
    seen = points @ rotation.T + shift
    return come_within(part, seen, within_mm + wander)


def sampled_states(motion: PairMotion) -> list[MotionState]:
    """Return the sampled states: angles in even steps, each with the middle and the corners of the straight motions."""
    if not _moves(motion):
        return [MotionState()]
    if motion.shaft is not None:
        return [motion.link_state(values) for values in _link_values(motion.shaft)]
    angles = [np.linspace(h.low, h.high, ROLL_STEPS + 1 if h.high > h.low else 1) for h in motion.hinges]
    turns = [np.array(turn) for turn in product(*angles)]
    count = len(motion.half_shares)
    places = sorted({(0.5,) * count, *product((0.0, 1.0), repeat=count)})
    there_and_back = [turns if i % 2 == 0 else turns[::-1] for i in range(len(places))]
    return [
        motion.state(turn, np.array(place)) for place, run in zip(places, there_and_back, strict=True) for turn in run
    ]


def _moves(motion: PairMotion) -> bool:
    return bool(motion.hinges) or motion.stroke is not None


def _link_values(shaft: Shaft) -> Array:
    """Sampled roll, lift, shift and travel, (n, 4), of a link."""
    sides = [np.linspace(a, b, LINK_STEPS + 1 if b > a else 1) for a, b in zip(*shaft.box, strict=True)]
    return np.array(list(product(*sides)))


def _field(values: Array, cap: float, lower: Array) -> ClearanceField:
    return ClearanceField(values_mm=values, cap_mm=cap, may_be_lower_mm=float(lower[values < cap].max(initial=0.0)))


def _arms(motion: PairMotion, points: Array) -> Array:
    """Radius, (n, a) mm, on which each point turns against the other body, whichever of the two it is of."""
    return np.maximum(motion.arms_mm(points, of_part=True), motion.arms_mm(points, of_part=False))


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
    by no more than the point moves relative to the other body. Points that no pose brings within the
    cap of where the first one left them are not looked at again.
    """
    best, at = np.full(len(points), cap), np.zeros(len(points), dtype=np.int64)
    arms = motion.arms_mm(points, of_part=of_part)
    coordinates = [motion.coordinates(state) for state in states]
    angles, straight = coordinates[0]
    most = np.max([np.abs(a - angles) for a, _ in coordinates], axis=0)
    falls = arms @ motion.chords(most) + max(float(np.abs(s - straight).sum()) for _, s in coordinates)
    seen = _seen(motion, states[0], of_part=of_part).apply(points)
    floor = _outside_box(others, seen)
    ask = np.flatnonzero(floor - falls < cap)
    floor[ask], primitive = nearest(seen[ask], cap + float(falls[ask].max(initial=0.0)))
    won = floor[ask] < cap
    best[ask[won]], at[ask[won]] = floor[ask[won]], primitive[won]
    stay = ask[floor[ask] - falls[ask] < cap]
    floor, points, arms = floor[stay], points[stay], arms[stay]
    for state, (now, along) in zip(states[1:], coordinates[1:], strict=True):
        floor -= arms @ motion.chords(np.abs(now - angles)) + float(np.abs(along - straight).sum())
        angles, straight = now, along
        ask = np.flatnonzero(floor < best[stay] - SLACK_MM)
        floor[ask], primitive = nearest(_seen(motion, state, of_part=of_part).apply(points[ask]), cap)
        won = floor[ask] < best[stay[ask]]
        lower = stay[ask[won]]
        best[lower], at[lower] = floor[ask[won]], primitive[won]
    return best, at


def _seen(motion: PairMotion, state: MotionState, *, of_part: bool) -> Pose:
    """Return how points of one body, neutral pose, are seen from the other's neutral pose at a state."""
    pose, other = motion.poses(state)
    return other.inverse() @ pose if of_part else pose.inverse() @ other


def _to_points(points: Array) -> Nearest:
    tree = cKDTree(points, balanced_tree=False, compact_nodes=False)

    def nearest(asked: Array, within_mm: float) -> tuple[Array, IntArray]:
        distance, index = tree.query(asked, distance_upper_bound=within_mm, workers=-1)
        return np.minimum(distance, within_mm), np.asarray(index, dtype=np.int64)

    return nearest


def _to_mesh(mesh: Mesh, signed: bool) -> Nearest:
    surface = surface_of(mesh)

    def nearest(asked: Array, _within_mm: float) -> tuple[Array, IntArray]:
        distance, face, _ = surface.nearest(asked, signed=signed)
        return distance, face

    return nearest
