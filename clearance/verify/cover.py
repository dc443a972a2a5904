"""Do boxes cover a box without a hole? Decided by comparing the given numbers alone: no rounding can hide a hole."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array

EDGE_RAD = 1e-12
"""Outer edges may miss the range by this much, for degrees turned to radians twice: 1e-8 mm at 10 m."""


def hole(low: Array, high: Array, cell_low: Array, cell_high: Array) -> str | None:
    """Return what is wrong with cells (k, a) as a cover of the box [low, high] (a,), None if nothing is.

    The cells' own edges cut the box into a grid. Every block of it lies wholly inside a cell or
    wholly outside, so each needs one cell that holds it.
    """
    if not len(cell_low):
        return "there are no cells"
    if not (np.isfinite(cell_low).all() and np.isfinite(cell_high).all() and (cell_low <= cell_high).all()):
        return "a cell's range is reversed or not a number"
    if (cell_low < low - EDGE_RAD).any() or (cell_high > high + EDGE_RAD).any():
        return "a cell reaches beyond the motion"
    if not len(low):
        return None
    edges = []
    for axis in range(len(low)):
        cuts = np.unique(np.concatenate([cell_low[:, axis], cell_high[:, axis]]))
        if cuts[0] > low[axis] + EDGE_RAD or cuts[-1] < high[axis] - EDGE_RAD:
            return "the cells end short of the motion's range"
        edges.append(cuts)
    held = np.zeros([max(len(cuts) - 1, 1) for cuts in edges], dtype=bool)
    for first, last in zip(cell_low, cell_high, strict=True):
        block = tuple(
            slice(None) if len(cuts) == 1 else slice(*np.searchsorted(cuts, (a, b)))
            for cuts, a, b in zip(edges, first, last, strict=True)
        )
        held[block] = True
    return None if held.all() else "the cells leave a hole"
