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


def minimise(
    value: Callable[[Array], float],
    fall: Callable[[Array], Array],
    low: Array,
    high: Array,
    tolerance_mm: float,
    excess_mm: float = 0.0,
    max_evaluations: int = 200_000,
) -> Minimum:
    """Bound the minimum of `value` over the box [low, high] to within `tolerance_mm`.

    Best first; the cell with the smallest lower bound is cut in three along its costliest side, so
    that the middle child keeps its parent's value. Ends early where `value` cannot be told from 0:
    bodies that touch cannot be nearer.

    Parameters
    ----------
    value : function of (k,) parameters
        Clearance, mm, at least 0.
    fall : function of (k,) half widths
        (k,) mm: how far each parameter's half width can lower the value; their sum bounds the fall.
    excess_mm : float
        By how much `value` may exceed the truth; taken off every lower bound.
    """
    counter = 0
    centre = (low + high) / 2
    upper, best = value(centre), centre
    slack = ROUNDING_MM + excess_mm
    heap = [(upper - float(fall((high - low) / 2).sum()) - slack, counter, low, high, upper)]
    evaluations = 1
    while True:
        floor = heap[0][0]
        target = tolerance_mm if floor > 0 else min(tolerance_mm, upper / 2)
        if upper - floor <= target or upper <= TOUCH_MM + excess_mm or evaluations >= max_evaluations:
            break
        floor, _, a, b, middle_value = heapq.heappop(heap)
        axis = int(np.argmax(fall((b - a) / 2)))
        third = (b[axis] - a[axis]) / 3
        cuts = (a[axis], a[axis] + third, b[axis] - third, b[axis])
        for child in range(3):
            ca, cb = a.copy(), b.copy()
            ca[axis], cb[axis] = cuts[child], cuts[child + 1]
            if child == 1:
                found = middle_value
            else:
                at = (ca + cb) / 2
                found = value(at)
                evaluations += 1
                if found < upper:
                    upper, best = found, at
            counter += 1
            lower = max(floor, found - float(fall((cb - ca) / 2).sum()) - slack)
            heapq.heappush(heap, (lower, counter, ca, cb, found))
    cells = np.array([[*a, *b, lower] for lower, _, a, b, _ in heap])
    return Minimum(bound=Bound(min(heap[0][0], upper), upper), best=best, cells=cells, evaluations=evaluations)
