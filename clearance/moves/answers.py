"""What the cells tell: the smallest free move, the largest box of free moves about no move at all."""

from __future__ import annotations

import heapq
from dataclasses import dataclass
from itertools import product

import numpy as np

from clearance.frames import Array
from clearance.moves.cells import Cells, Decider
from clearance.moves.search import Ruling
from clearance.moves.space import MoveSpace

MOST_TRIED = 20_000
"""Grid corners of undecided cells asked one by one for a smaller free move."""

LINE_STEPS = 8
"""Halvings by which the smallest move is drawn in along its own line."""

MOST_BOXES = 3_000
"""Boxes looked at for the largest one."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Smallest:
    """The smallest free move.

    Attributes
    ----------
    move : (6,) float64 or None
        Proven free; None where none was found.
    size_mm : float
        Its weighted size; infinity without one.
    at_least_mm : float
        No free move of the range is smaller: the least size of any move in a cell that is not proven blocked.
    proven_none : bool
        Every cell of the range is proven blocked.
    """

    move: Array | None
    size_mm: float
    at_least_mm: float
    proven_none: bool


def smallest_move(cells: Cells, decider: Decider) -> Smallest:
    """Return the smallest free move: the nearest of a free cell, or a grid corner of an undecided one nearer yet.

    It is then drawn in along its own line, so that it is no larger than any free corner of the grid.
    """
    space = decider.space
    low, high = space.edge(cells.low), space.edge(cells.high)
    nearest = np.clip(0.0, low, high)
    sizes = space.size_mm(nearest)
    free, open_ = cells.ruling == Ruling.FREE, cells.ruling == Ruling.UNDECIDED
    move, size = None, np.inf
    if free.any():
        best = int(np.flatnonzero(free)[sizes[free].argmin()])
        move, size = nearest[best], float(sizes[best])
    found = _nearer_corner(low[open_], high[open_], decider, size)
    if found is not None:
        move, size = found, float(space.size_mm(found))
    if move is not None and move.any():
        move = _drawn_in(move, decider)
        size = float(space.size_mm(move))
    not_blocked = sizes[cells.ruling != Ruling.BLOCKED]
    return Smallest(
        move=move,
        size_mm=size,
        at_least_mm=float(not_blocked.min(initial=np.inf)),
        proven_none=not len(not_blocked),
    )


def _drawn_in(move: Array, decider: Decider) -> Array:
    """Return a free move on the line from no move to a free one, as near to no move as halving finds it."""
    space, kept, failed = decider.space, 1.0, 0.0
    for _ in range(LINE_STEPS):
        middle = (kept + failed) / 2
        tried = middle * move
        inside = bool(((tried >= space.low) & (tried <= space.high)).all())
        if inside and decider.keeps(tried):
            kept = middle
        else:
            failed = middle
    drawn: Array = kept * move
    return drawn


def _nearer_corner(low: Array, high: Array, decider: Decider, size: float) -> Array | None:
    """Return the smallest proven free move among the corners of cells and their points nearest to no move."""
    if not len(low):
        return None
    space = decider.space
    ends = [(0, 1) if i in space.varied else (0,) for i in range(6)]
    corners = [np.where(np.array(pick, dtype=bool), high, low) for pick in product(*ends)]
    tried = np.unique(np.round(np.concatenate([*corners, np.clip(0.0, low, high)]), 12), axis=0)
    sizes = space.size_mm(tried)
    order = np.argsort(sizes, kind="stable")
    for index in order[:MOST_TRIED]:
        if sizes[index] >= size:
            return None
        if decider.keeps(tried[index]):
            found: Array = tried[index]
            return found
    return None


@dataclass(frozen=True, eq=False, kw_only=True)
class FreeBox:
    """A box of free moves that holds no move at all; `largest`: proven to be the largest of the cells."""

    low: Array
    high: Array
    largest: bool


def largest_box(cells: Cells, space: MoveSpace) -> FreeBox | None:
    """Return the box, axis-aligned, of the largest volume (turns weighted) that holds 0 and no cell but free ones.

    Best first: a box in which something stands is cut on each side that lets 0 stay, and no box cut from
    another is larger than it, so the first one met with nothing in it is the largest. None where 0 is not
    free, or lies outside the range.
    """
    varied = space.varied
    low, high = space.low[varied], space.high[varied]
    if not len(varied) or (low > 0).any() or (high < 0).any() or _fixed_away(space):
        return None
    solid = cells.ruling != Ruling.FREE
    ob_low, ob_high = space.edge(cells.low[solid])[:, varied], space.edge(cells.high[solid])[:, varied]
    weights = space.weights[varied]

    def volume(a: Array, b: Array) -> float:
        return float(np.prod((b - a) * weights))

    heap, count, seen = [(-volume(low, high), 0, low, high)], 0, set[bytes]()
    for _ in range(MOST_BOXES):
        if not heap:
            return None
        _, _, a, b = heapq.heappop(heap)
        hit = np.flatnonzero(((ob_low < b) & (ob_high > a)).all(axis=1))
        if not len(hit):
            return FreeBox(low=_whole(space, a), high=_whole(space, b), largest=True) if volume(a, b) > 0 else None
        gap = np.maximum(np.maximum(ob_low[hit], -ob_high[hit]), 0.0) * weights
        first = hit[np.linalg.norm(gap, axis=1).argmin()]
        for axis in range(len(varied)):
            for up in (True, False):
                ca, cb = a.copy(), b.copy()
                if up and ob_low[first, axis] >= 0:
                    cb[axis] = ob_low[first, axis]
                elif not up and ob_high[first, axis] <= 0:
                    ca[axis] = ob_high[first, axis]
                else:
                    continue
                key = np.concatenate([ca, cb]).tobytes()
                if key not in seen and volume(ca, cb) > 0:
                    seen.add(key)
                    count += 1
                    heapq.heappush(heap, (-volume(ca, cb), count, ca, cb))
    return _greedy(heap, ob_low, ob_high, space)


def _greedy(
    heap: list[tuple[float, int, Array, Array]], ob_low: Array, ob_high: Array, space: MoveSpace
) -> FreeBox | None:
    """Return a box of free moves, not proven the largest: every obstacle cut off where that costs least."""
    _, _, a, b = heap[0]
    weights = space.weights[space.varied]
    while len(hit := np.flatnonzero(((ob_low < b) & (ob_high > a)).all(axis=1))):
        gap = np.maximum(np.maximum(ob_low[hit], -ob_high[hit]), 0.0) * weights
        first = hit[np.linalg.norm(gap, axis=1).argmin()]
        up = np.where(ob_low[first] >= 0, (ob_low[first] - a) / (b - a), -1.0)
        down = np.where(ob_high[first] <= 0, (b - ob_high[first]) / (b - a), -1.0)
        if max(up.max(), down.max()) <= 0:
            return None
        if up.max() >= down.max():
            b = np.where(np.arange(len(b)) == up.argmax(), ob_low[first], b)
        else:
            a = np.where(np.arange(len(a)) == down.argmax(), ob_high[first], a)
    return FreeBox(low=_whole(space, a), high=_whole(space, b), largest=False)


def _whole(space: MoveSpace, values: Array) -> Array:
    whole = space.low.copy()
    whole[space.varied] = values
    return whole


def _fixed_away(space: MoveSpace) -> bool:
    """Tell whether something that is not varied is held away from 0."""
    fixed = space.low == space.high
    return bool(np.any(space.low[fixed] != 0))
