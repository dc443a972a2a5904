"""Branch and bound for the smallest value of a function whose change is bounded.

Nothing here knows of meshes or scans: a function, a box of parameters and a promise of how far the
value can fall from a cell's centre to anywhere in the cell.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from clearance.bounds import Bound
from clearance.frames import Array

ROUNDING_MM = 1e-9
"""Taken off every lower bound for the rounding of float64 distances of up to some metres."""

TOUCH_MM = 1e-6
"""Distances below this count as touching."""

MOST_EVALUATIONS = 20_000
"""Looks after which a search gives up with the bound it has. It holds no more cells than twice this."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Minimum:
    """Outcome of a search.

    Attributes
    ----------
    bound : Bound
        Contains the true minimum.
    best : (k,) float64
        Parameters at which `bound.upper` was evaluated.
    cells : (m, 2 k + 1) float64
        Cover of the box: low corner, high corner, lower bound.
    evaluations : int
    """

    bound: Bound
    best: Array
    cells: Array
    evaluations: int


@dataclass(frozen=True, eq=False)
class Known:
    """What is known before a search: no value is below `lower_mm`, and `best` (k,) has `upper_mm`."""

    lower_mm: float = -np.inf
    upper_mm: float = np.inf
    best: Array | None = None


UNKNOWN = Known()


@dataclass(frozen=True, eq=False)
class Look:
    """What one evaluation tells of a cell.

    Attributes
    ----------
    value : float
        Clearance at the cell's centre, mm, at least 0; infinity where no candidate is left.
    fall : function of (k,) half widths
        (k,) mm: how far each parameter's half width can lower the value, within this cell; their sum bounds the fall.
    cap_mm : float
        The cell's lower bound is no more than this: what was left out of `value` may be as near.
    kept : object
        Handed to the looks at the cell's children.
    """

    value: float
    fall: Callable[[Array], Array]
    cap_mm: float = np.inf
    kept: object = None


Looker = Callable[[Array, Array, object, float], Look]
"""Low and high corner of a cell, what its parent kept (None at first), least value so far -> Look."""


def minimise(
    value: Callable[[Array], float],
    fall: Callable[[Array], Array],
    low: Array,
    high: Array,
    tolerance_mm: float,
    excess_mm: float = 0.0,
    max_evaluations: int = MOST_EVALUATIONS,
    cap_mm: float = np.inf,
    known: Known = UNKNOWN,
    wanted_mm: float | None = None,
) -> Minimum:
    """Bound the minimum of `value` over the box [low, high] to within `tolerance_mm`.

    Parameters
    ----------
    value : function of (k,) parameters
        Clearance, mm, at least 0.
    fall : function of (k,) half widths
        (k,) mm: how far each parameter's half width can lower the value; their sum bounds the fall.
    excess_mm : float
        By how much `value` may exceed the truth; taken off every lower bound.
    cap_mm : float
        No lower bound is more than this.
    wanted_mm : float or None
        As in `search`.
    """

    def look(a: Array, b: Array, _kept: object, _least: float) -> Look:
        return Look(value((a + b) / 2), fall, cap_mm)

    return search(look, low, high, tolerance_mm, excess_mm, max_evaluations, known, wanted_mm)


def search(
    look: Looker,
    low: Array,
    high: Array,
    tolerance_mm: float,
    excess_mm: float = 0.0,
    max_evaluations: int = MOST_EVALUATIONS,
    known: Known = UNKNOWN,
    wanted_mm: float | None = None,
) -> Minimum:
    """Bound a minimum over the box [low, high] from looks at its cells, to within `tolerance_mm`.

    Best first; the cell with the smallest lower bound is cut in three along its costliest side, so
    that the middle child keeps its parent's look. Ends early where the value cannot be told from 0:
    bodies that touch cannot be nearer. With `wanted_mm` it also ends as soon as the bound tells whether
    the minimum is as large as that. Gives up after `max_evaluations`, with the bound that it has.
    """
    counter = 0
    first = look(low, high, None, known.upper_mm)
    upper, best = first.value, (low + high) / 2
    if known.best is not None and known.upper_mm < upper:
        upper, best = known.upper_mm, known.best
    slack = ROUNDING_MM + excess_mm

    def floor_of(found: Look, a: Array, b: Array) -> float:
        return min(found.value - float(found.fall((b - a) / 2).sum()), found.cap_mm) - slack

    heap = [(floor_of(first, low, high), counter, low, high, first)]
    evaluations = 1
    while True:
        floor = max(heap[0][0], known.lower_mm)
        target = tolerance_mm if floor > 0 else min(tolerance_mm, upper / 2)
        if upper - floor <= target or upper <= TOUCH_MM + excess_mm or evaluations >= max_evaluations:
            break
        if wanted_mm is not None and (floor >= wanted_mm or upper < wanted_mm):
            break
        falls = heap[0][4].fall((heap[0][3] - heap[0][2]) / 2)
        if not falls.any():
            break
        inherited, _, a, b, parent = heapq.heappop(heap)
        axis = int(np.argmax(falls))
        third = (b[axis] - a[axis]) / 3
        cuts = (a[axis], a[axis] + third, b[axis] - third, b[axis])
        for child in range(3):
            ca, cb = a.copy(), b.copy()
            ca[axis], cb[axis] = cuts[child], cuts[child + 1]
            if child == 1:
                found = parent
            else:
                found = look(ca, cb, parent.kept, upper)
                evaluations += 1
                if found.value < upper:
                    upper, best = found.value, (ca + cb) / 2
            counter += 1
            heapq.heappush(heap, (max(inherited, floor_of(found, ca, cb)), counter, ca, cb, found))
    cells = np.array([[*a, *b, max(lower, known.lower_mm)] for lower, _, a, b, _ in heap])
    bound = Bound(min(max(heap[0][0], known.lower_mm), upper), upper)
    return Minimum(bound=bound, best=best, cells=cells, evaluations=evaluations)
