"""Prove that pieces of a zone stay farther from the part than claimed, or find a pose at which they do not.

An item is a piece of a zone (a point or a triangle) with a box of angles, a box of slides and a range of growth of
the part. It is settled

- by its middle: libigl's distance there, less how far any of the item can be from it; or
- by planes: at the middle angles the piece, swept over the slides, and each near triangle of the part, swept over
  its growth, are convex, and a plane between them holds them apart (`hull`), less what the angles can move; or
- by planes about the hull of the piece at all ends of its angles and slides, less what an arc leaves that hull, which
  is of second order: the turns count only as far as they bring the piece nearer; or
- by a real pose, nearer than claimed: then the claim is wrong.

Growing by k about an anchor a, a triangle sweeps the cone over it with its tip at a, cut off at both sizes: the hull
of its two ends, since a + k (p - a) runs along a line as k grows and mixtures of p at two k are p's mixture at one.

What is not settled is cut in two where it is widest. Since claims are lowered by `eps`, this ends.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.verify.hull import hull_distance
from clearance.verify.paths import Motion
from clearance.verify.target import Target

Mask = NDArray[np.bool_]

BLOCK = 4000
"""Items looked at together."""

PAIRS = 20_000
"""Pairs of convex pieces looked at together."""

FEW = 40
"""An item with no more near triangles than this is tried with planes at once."""

SMALL_MM = 1.0
"""So is one whose piece and slides reach no farther than this."""


@dataclass(frozen=True, eq=False)
class Items:
    """Pieces of a zone, each with what its corners, its angles and its slides span and what is claimed of it.

    Attributes
    ----------
    corners : (n, c, 3) float64, mm, at the zone's neutral place
    angle_low, angle_high : (n, a) float64, rad
    slide_low, slide_high : (n, k) float64, mm
    factor_low, factor_high : (n,) float64
        Growth of the part; 1 is its size as modelled.
    claim : (n,) float64, mm
    """

    corners: Array
    angle_low: Array
    angle_high: Array
    slide_low: Array
    slide_high: Array
    factor_low: Array
    factor_high: Array
    claim: Array

    def __len__(self) -> int:
        return len(self.claim)

    def take(self, which: NDArray[np.int64] | Mask) -> Items:
        """Return some of the items."""
        return Items(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


def joined(parts: list[Items]) -> Items:
    """Return all items of several lots."""
    return Items(*(np.concatenate([getattr(p, name) for p in parts]) for name in Items.__dataclass_fields__))


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """How a proof ended: all proved; or `nearer_mm`, a distance that a real pose has, and what was claimed there.

    `gave_up`: the budget ran out. `distances`: questions asked.
    """

    distances: int
    nearer_mm: float | None = None
    claimed_mm: float | None = None
    gave_up: bool = False


@dataclass(frozen=True, eq=False)
class _Middle:
    """Items at their middles: swept piece (corners and slide edges) as seen from the part, growth, and reaches, mm.

    `bend`: how far its arcs leave the hull of their ends.
    """

    corners: Array
    centre: Array
    edges: Array
    piece: Array
    slide: Array
    turn: Array
    factor: Array
    growth: Array
    bend: Array

    @property
    def reach(self) -> Array:
        """Farthest, (n,) mm, that any of an item is from its middle."""
        farthest: Array = self.piece + self.slide + self.growth + self.turn.sum(axis=1)
        return farthest


def prove(target: Target, path: Motion, items: Items, budget: int) -> Outcome:
    """Prove every item's claim, mm. Stops at the first pose that disproves one, or after `budget` questions."""
    waiting, asked = [items], 0
    while waiting:
        lot = waiting.pop()
        if len(lot) > BLOCK:
            waiting.append(lot.take(np.arange(BLOCK, len(lot))))
            lot = lot.take(np.arange(BLOCK))
        if not len(lot):
            continue
        if asked > budget:
            return Outcome(distances=asked, gave_up=True)
        at = middle(target, path, lot)
        asked += len(lot)
        distance = target.distance(at.centre, at.factor)
        if (bad := _worst(distance, lot.claim)) is not None:
            return Outcome(distances=asked, nearer_mm=float(distance[bad]), claimed_mm=float(lot.claim[bad]))
        left = np.flatnonzero(distance - at.reach < lot.claim)
        lot, at = lot.take(left), _take(at, left)
        settled, upper, pairs = _by_planes(target, path, lot, at)
        asked += pairs
        if (bad := _worst(upper, lot.claim)) is not None:
            return Outcome(distances=asked, nearer_mm=float(upper[bad]), claimed_mm=float(lot.claim[bad]))
        left = np.flatnonzero(~settled)
        if len(left):
            turn = upper[left] - np.minimum(at.turn.sum(axis=1), at.bend)[left] < lot.claim[left]
            waiting.append(_halved(lot.take(left), _take(at, left), turn))
    return Outcome(distances=asked)


def middle(target: Target, path: Motion, items: Items) -> _Middle:
    """Place items at their middles."""
    angles, half_angles = (items.angle_low + items.angle_high) / 2, (items.angle_high - items.angle_low) / 2
    slides, half_slides = (items.slide_low + items.slide_high) / 2, (items.slide_high - items.slide_low) / 2
    corners = path.seen(items.corners, angles, slides)
    centre = corners.mean(axis=1)
    edges = path.edges(angles) * half_slides[:, :, None]
    slide = np.zeros(len(items))
    for signs in product((-1.0, 1.0), repeat=edges.shape[1]):
        slide = np.maximum(slide, np.linalg.norm(np.einsum("k,mki->mi", np.array(signs), edges), axis=1))
    turn = path.falls(items.corners, angles, half_angles, slides, half_slides)
    return _Middle(
        corners,
        centre,
        edges,
        np.linalg.norm(corners - centre[:, None], axis=2).max(axis=1),
        slide,
        turn,
        (items.factor_low + items.factor_high) / 2,
        target.radius * (items.factor_high - items.factor_low) / 2,
        path.bend(turn, half_angles),
    )


def _take(at: _Middle, which: NDArray[np.int64]) -> _Middle:
    return _Middle(*(getattr(at, name)[which] for name in at.__dataclass_fields__))


def _worst(distance: Array, claim: Array) -> int | None:
    short = claim - distance
    return int(short.argmax()) if len(short) and short.max() > 0 else None


def _by_planes(target: Target, path: Motion, items: Items, at: _Middle) -> tuple[Mask, Array, int]:
    """Tell which items planes settle, how near (n,) a real pose of each comes that was tried, and the pairs asked."""
    if not len(items):
        return np.zeros(0, dtype=bool), np.zeros(0), 0
    who, which = target.near(at.centre, items.claim + at.reach, at.factor)
    counts = np.bincount(who, minlength=len(items))
    tried = (counts <= FEW) | (at.piece + at.slide + at.growth <= SMALL_MM)
    chosen = tried[who]
    who, which = who[chosen], which[chosen]
    enough = items.claim + at.turn.sum(axis=1)
    lower, upper = _between(target, items, at.corners, at.edges, who, which, enough)
    settled, asked = tried & (lower >= enough), len(who)
    enough = items.claim + at.bend
    again = tried & ~settled & (upper >= enough)
    if again.any():
        who, which = who[again[who]], which[again[who]]
        rows = np.flatnonzero(again)
        found = _ends(path, items.take(rows))
        ends = np.zeros((len(items), *found.shape[1:]))
        ends[rows] = found
        lower, _ = _between(target, items, ends, at.edges[:, :0], who, which, enough)
        settled |= again & (lower >= enough)
        asked += len(who)
    return settled, upper, asked


def _between(
    target: Target, items: Items, corners: Array, edges: Array, who: NDArray[np.int64], which: NDArray[np.int64],
    enough: Array,
) -> tuple[Array, Array]:  # fmt: skip
    """Bound (n,), mm, how far hulls of corners (n, c, 3), slid along edges, are from triangles `which` of `who`."""
    lower, upper = np.full(len(items), np.inf), np.full(len(items), np.inf)
    for start in range(0, len(who), PAIRS):
        i, j = who[start : start + PAIRS], which[start : start + PAIRS]
        ends = [target.grown(j, items.factor_low[i])]
        if (items.factor_high[i] > items.factor_low[i]).any():
            ends.append(target.grown(j, items.factor_high[i]))
        down, up = hull_distance(_differences(corners[i], edges[i], np.concatenate(ends, axis=1)), enough[i])
        np.minimum.at(lower, i, down)
        np.minimum.at(upper, i, up)
    return lower, upper


def _ends(path: Motion, items: Items) -> Array:
    """Place the pieces' corners, (n, c, 3), at all ends of their angles and slides."""
    a = items.angle_low.shape[1]
    low = np.concatenate([items.angle_low, items.slide_low], axis=1)
    high = np.concatenate([items.angle_high, items.slide_high], axis=1)
    spans = (high - low).max(axis=0)
    placed = []
    for upper in product(*((False, True) if span > 0 else (False,) for span in spans)):
        at = np.where(upper, high, low)
        placed.append(path.seen(items.corners, at[:, :a], at[:, a:]))
    return np.concatenate(placed, axis=1)


def _differences(corners: Array, edges: Array, others: Array) -> Array:
    """Corners (m, k, 3) of {swept piece - hull of others}, others (m, c, 3)."""
    moving = edges.any(axis=(0, 2))
    points = corners[:, :, None] - others[:, None]
    points = points.reshape(len(points), -1, 3)
    for axis in np.flatnonzero(moving):
        along = edges[:, axis][:, None]
        points = np.concatenate([points - along, points + along], axis=1)
    return points


def _halved(items: Items, at: _Middle, turn: Mask) -> Items:
    """Cut every item in two where it is widest: an angle, a slide, the growth, or the piece along its longest edge.

    `turn`: only a smaller turn can settle it, since planes take all of its piece and slides at once.
    """
    slides = np.linalg.norm(at.edges, axis=2)
    straight = np.where(turn[:, None], -1.0, np.column_stack([slides, at.growth, at.piece]))
    sizes, angles = np.column_stack([at.turn, straight]), at.turn.shape[1]
    widest = sizes.argmax(axis=1)
    lots = []
    for kind in np.unique(widest):
        lot = items.take(widest == kind)
        if kind < angles:
            lots += _cut(lot, "angle", int(kind))
        elif kind < angles + slides.shape[1]:
            lots += _cut(lot, "slide", int(kind) - angles)
        elif kind == angles + slides.shape[1]:
            lots += _cut(lot, "factor", None)
        else:
            lots += _split_pieces(lot)
    return joined(lots)


def _cut(items: Items, name: str, axis: int | None) -> list[Items]:
    low, high = getattr(items, f"{name}_low"), getattr(items, f"{name}_high")
    below, above = high.copy(), low.copy()
    at = ... if axis is None else (slice(None), axis)
    below[at] = above[at] = (low[at] + high[at]) / 2
    return [replace(items, **{f"{name}_high": below}), replace(items, **{f"{name}_low": above})]


def _split_pieces(items: Items) -> list[Items]:
    corners = items.corners
    rows = np.arange(len(corners))
    longest = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2).argmax(axis=1)
    end = (longest + 1) % corners.shape[1]
    middle = (corners[rows, longest] + corners[rows, end]) / 2
    first, second = corners.copy(), corners.copy()
    first[rows, end] = second[rows, longest] = middle
    return [replace(items, corners=first), replace(items, corners=second)]
