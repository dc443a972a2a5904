"""A lower bound over the whole motion at once, for where the clearance hardly changes and a search would not end.

In the middle frame the part turns by one hinge and the zone by another, each whatever the other does, so the least
clearance over all angles is the distance of what the one sweeps from what the other sweeps. Over an arc of half
width h a triangle stays within r (1 - cos h) of the hull of its two ends, r the largest radius of a corner: every
point of it is the same mixture of the corners at both ends, and runs on an arc of no larger radius whose chord joins
them. The loss is of second order, so few arcs do. Translations are folded in exactly.

Surfaces alone do not tell of a body that lies within a hull. One that did would be within half the hull's width
of its surface, so a distance that is no more than this proves nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise, product

import numpy as np
from numpy.typing import NDArray

from clearance.distance.body import Body, Slide, mesh_body
from clearance.distance.fcl_engine import FclBody
from clearance.distance.near import distance_to
from clearance.frames import Array
from clearance.motion.bodies import SLACK_MM, Near, corners
from clearance.motion.pair import PairMotion
from clearance.scene.mesh import Mesh

LOSS_SHARE = 0.2
"""What the arcs of one body may cost, as a share of the tolerance."""

MOST_TRIANGLES = 600_000
"""Triangles of a swept body; where there would be more nothing is proved."""

MOST_PAIRS = 2e10
"""Pairs of triangles of both swept bodies; where there would be more nothing is proved: hulls that overlap are slow."""

MOST_PIECES = 20_000
"""Pieces beyond which none is cut in two any more."""

TWIST_SHARE = 8.0
"""How differently the corners of a piece may move over an arc, as a share of the tolerance, before it is cut."""

MOST_TESTS = 300_000_000
"""Tests of a corner against a plane that a swept body may take."""

BLOCK = 4_000_000
"""Such tests made at once."""

SAME = 1e-9
"""Corners within this of a plane, relative to their hull's size, count as on it."""

SIDES = (1, 6, 20)
"""Triangles that a hull's triangle is worth, about, as it slides along none, one and two edges."""


@dataclass(frozen=True, eq=False)
class _Swept:
    """Hulls' surfaces; what is swept lies within `loss_mm` of a hull, and no point in one is deeper than `depth_mm`."""

    body: Body
    loss_mm: float
    depth_mm: float


def clear_by(motion: PairMotion, near: Near, upper_mm: float, tolerance_mm: float) -> float:
    """Return a lower bound, mm, of the clearance over the motion; minus infinity where nothing is proved.

    Parameters
    ----------
    near : Near
        The pieces that can decide, counted from an origin near the part as `motion` is.
    upper_mm : float
        A clearance that is attained: pieces that stay farther apart are left out.
    tolerance_mm : float
        The arcs cost no more than a share of this.
    """
    if motion.shaft is not None:
        return -np.inf
    between, half = motion.slides[1], len(motion.slides[1].edges) // 2
    to_part, to_zone = Slide(between.base, between.edges[:half]), Slide(np.zeros(3), -between.edges[half:])
    swept = []
    for of_part, after in ((True, to_part), (False, to_zone)):
        ends, loss = _ends(motion, near, tolerance_mm, of_part=of_part)
        if ends is not None:
            ends = _thinned(motion, near, ends, upper_mm + loss, tolerance_mm, of_part=of_part)
        found = None if ends is None else _hulls(ends.reshape(len(ends), -1, 3), after, loss)
        if found is None:
            return -np.inf
        swept.append(found)
    if float(np.prod([float(len(one.body.faces)) for one in swept])) > MOST_PAIRS:
        return -np.inf
    part, zone = (FclBody(one.body) for one in swept)
    distance = part.closest(zone).distance_mm - part.excess_mm(zone) - SLACK_MM
    if distance <= max(one.depth_mm for one in swept):
        return -np.inf
    return min(distance - sum(one.loss_mm for one in swept), near.within_mm, upper_mm)


def _ends(motion: PairMotion, near: Near, tolerance_mm: float, *, of_part: bool) -> tuple[Array | None, float]:
    """Corners (n, e, c, s, 3) of a body's pieces and what the hulls miss, mm; None where there would be too many.

    The e ends of an arc (1 where nothing turns), c corners of a piece, s corners of the body's own slide.
    """
    solid, slide = (near.part, motion.slides[0]) if of_part else (near.zone, motion.slides[2])
    own = solid.triangles if isinstance(solid, Mesh) else solid[:, None]
    shares = np.array(list(product((0.0, 1.0), repeat=len(slide.edges))))
    slid = own[:, :, None] + slide.base + shares @ slide.edges
    turning = [k for k, hinge in enumerate(motion.hinges) if hinge.of_part == of_part and hinge.high > hinge.low]
    angles = motion.low

    def turned() -> Array:
        rotation, shift = motion.turns(angles)[0 if of_part else 1]
        placed: Array = slid @ rotation.T + shift
        return placed

    if not turning:
        return turned()[:, None], 0.0
    hinge = motion.hinges[turning[0]]
    radius, span = float(hinge.radii_mm(slid.reshape(-1, 3)).max()), hinge.high - hinge.low
    half = min(np.sqrt(2 * LOSS_SHARE * tolerance_mm / max(radius, 1.0)), 1.0)
    count = max(1, int(np.ceil(span / 2 / half)))
    if len(slid) * count > MOST_TRIANGLES:
        return None, 0.0
    at = []
    for angle in np.linspace(hinge.low, hinge.high, count + 1):
        angles[turning[0]] = angle
        at.append(turned())
    arcs = np.concatenate([np.stack(pair, axis=1) for pair in pairwise(at)])
    return arcs, 2 * radius * float(np.sin(span / count / 4)) ** 2


def _thinned(
    motion: PairMotion, near: Near, ends: Array, within_mm: float, tolerance_mm: float, *, of_part: bool
) -> Array:
    """Return the pieces that may come within a distance of the other body, those cut in two that an arc twists.

    The hull of a triangle whose corners take different ways bulges beyond what it sweeps: that costs, but is safe.
    """
    done, count = [], 0
    while len(ends):
        near_enough = _may_come_within(motion, near, ends.reshape(len(ends), -1, 3), within_mm, of_part=of_part)
        ends = ends[near_enough]
        way = ends[:, -1, :, 0] - ends[:, 0, :, 0]
        twist = np.linalg.norm(np.roll(way, -1, axis=1) - way, axis=2)
        cut = twist.max(axis=1, initial=0.0) > TWIST_SHARE * tolerance_mm
        if count + len(ends) > MOST_PIECES:
            cut[:] = False
        done.append(ends[~cut])
        count += len(done[-1])
        ends, longest = ends[cut], twist[cut].argmax(axis=1)
        rows, after = np.arange(len(ends)), (longest + 1) % ends.shape[2]
        middle = (ends[rows, :, longest] + ends[rows, :, after]) / 2
        first, second = ends.copy(), ends.copy()
        first[rows, :, after] = second[rows, :, longest] = middle
        ends = np.concatenate([first, second])
    return np.concatenate(done)


def _may_come_within(
    motion: PairMotion, near: Near, ends: Array, within_mm: float, *, of_part: bool
) -> NDArray[np.bool_]:
    """Tell which hulls may come within a distance of the other body, which is asked at the middle of its motion."""
    centres = ends.mean(axis=1)
    radii = np.linalg.norm(ends - centres[:, None], axis=2).max(axis=1)
    (u, u_shift), (v, v_shift) = motion.turns(motion.middle)
    a, b, c = (slide.middle for slide in motion.slides)
    if of_part:
        other, slide, seen = near.zone, motion.slides[2], (centres + b - v_shift) @ v - c
    else:
        other, slide, seen = near.part, motion.slides[0], (centres - b - u_shift) @ u - a
    moved = slide.reach_mm + motion.slides[1].reach_mm
    for hinge in motion.hinges:
        if hinge.of_part != of_part:
            arm = float(hinge.radii_mm(corners(other)).max()) + slide.longest_mm
            moved += arm * hinge.chord((hinge.high - hinge.low) / 2)
    return np.asarray(distance_to(other, seen) - radii - moved <= within_mm + SLACK_MM)


def _hulls(ends: Array, after: Slide, loss_mm: float) -> _Swept | None:
    """Return the hulls of (n, c, 3) corners, slid, as surfaces; None where that is too much work.

    Every facet of a hull is made of triangles of its corners; those with corners on both sides are none.
    """
    n, c, _ = ends.shape
    if not n:
        return None
    triples = np.array(list(combinations(range(c), 3)) if c > 2 else [(0, c - 1, c - 1)], dtype=np.int64)
    if n * len(triples) * c > MOST_TESTS:
        return None
    faces = []
    block = max(1, BLOCK // (len(triples) * c))
    for start in range(0, n, block):
        some = ends[start : start + block]
        which, triple = np.nonzero(_outer(some, triples))
        faces.append((start + which)[:, None] * c + triples[triple])
        if sum(map(len, faces)) * SIDES[len(after.edges)] > MOST_TRIANGLES:
            return None
    mesh = Mesh(ends.reshape(-1, 3), np.concatenate(faces))
    return _Swept(mesh_body(mesh, after), loss_mm, _depth(ends, after))


def _outer(ends: Array, triples: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell (n, t) which triples of (n, c, 3) corners may lie on their hull's surface."""
    ends = ends - ends[:, :1]
    p, q, r = (ends[:, triples[:, k]] for k in range(3))
    normal = np.cross(q - p, r - p)
    size = np.linalg.norm(ends, axis=2).max(axis=1)
    above = normal @ ends.swapaxes(1, 2) - np.einsum("nti,nti->nt", normal, p)[:, :, None]
    same = (SAME * size**3)[:, None]
    return np.asarray((above.max(axis=2) <= same) | (above.min(axis=2) >= -same))


def _depth(ends: Array, after: Slide) -> float:
    """Return, mm, more than any point in a hull is from its surface: half its least width along some directions."""
    normal = np.cross(ends[:, 1] - ends[:, 0], ends[:, 2] - ends[:, 0]) if ends.shape[1] > 2 else ends[:, 0] * 0
    length = np.linalg.norm(normal, axis=1)
    normal = np.where((length > 1e-12)[:, None], normal / np.maximum(length, 1e-12)[:, None], np.eye(3)[0])
    widths = []
    for way in (normal, *(np.broadcast_to(axis, normal.shape) for axis in np.eye(3))):
        along = np.einsum("nci,ni->nc", ends, way)
        widths.append(along.max(axis=1) - along.min(axis=1) + np.abs(way @ after.edges.T).sum(axis=1))
    return float(np.min(widths, axis=0).max()) / 2
