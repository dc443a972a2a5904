"""Local spacing of scan points: how far from each point its own surface may go without another point."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.neighbours import Neighbours
from clearance.scene.repeats import find_repeats, once_each

SPACING_RANK = 6
"""Local spacing is the distance to this neighbour."""

CLOSE_RANK = 3
"""A point with this neighbour far off is in no cluster."""

MOSTLY = 3
"""Of the six nearest so many must be clusters too for a cluster to be one point of a coarse grid seen again."""

LOOK = 64
"""Points about a cluster looked at first: a cluster by chance within a dense scan is told from them."""

ROW_POINTS = (9, 17)
"""A point and its nearest, so many, make a row if they are this straight: width over length."""
STRAIGHT = 0.3

BLOCK = 4_000
"""Points worked on at a time: more do not fit the processor's cache."""

ACROSS = 64
"""Points on rows looked at to find the next row: up to 32 pitches away."""

FARTHEST_ROW = 11.0
"""Multiples of the distance to the sixth neighbour (three pitches of a row) beyond which nothing is the next row."""

PARALLEL = 0.9
"""Cosine between the directions of two rows of one line scan."""


def local_spacing(points: Array, distance: Array, index: NDArray[np.int64], tree: Neighbours) -> Array:
    """Return the (n,) local spacing, mm.

    The distance to the sixth nearest neighbour: sqrt(2) pitches on a square grid, whose every place is
    within sqrt(1/2) pitches of a point; about sqrt(6 / pi) / sqrt(points per mm2) on a random
    one (k = pi r^2 density); three pitches along a single row. Where the nearest lie in a row
    (a line scan with coarse steps), no less than the distance to the next parallel row. Clusters among
    other clusters (`clearance.scene.repeats`) count as one point each: frames of one coarse grid.
    Not recognised: rows blurred by noise of about their pitch; clusters nearer to each other than about
    twice their width.

    Parameters
    ----------
    points : (n, 3) float64, mm, no two equal
    distance, index : (n, 17) float64 mm, int64
        Nearest neighbours of each point, itself first.
    tree : Neighbours
        Of the points.
    """
    spacing = along_or_across(points, distance, index)
    number = _among_their_like(points, find_repeats(points, distance[:, CLOSE_RANK], tree), tree)
    again = np.flatnonzero(number >= 0)
    hiding = np.bincount(number[again])[number[again]] > SPACING_RANK
    if hiding.any():
        once, row = once_each(points, number)
        cluster = row[again]
        near, which = Neighbours(once).nearest(once, min(distance.shape[1], len(once)))
        apart = along_or_across(once, near, which) if near.shape[1] > SPACING_RANK else near[:, -1]
        alike = (which[:, 1 : SPACING_RANK + 1] <= cluster.max()).sum(axis=1) >= MOSTLY
        wider = hiding & alike[cluster]
        spacing[again[wider]] = np.maximum(spacing[again], apart[cluster])[wider]
    return spacing


def _among_their_like(points: Array, number: NDArray[np.int64], tree: Neighbours) -> NDArray[np.int64]:
    """Take off the numbers of clusters that have other points than clusters about them, as far as a look tells."""
    again = np.flatnonzero(number >= 0)
    if not len(again):
        return number
    middle, row = once_each(points[again], number[again])
    if len(middle) <= MOSTLY:
        return np.full_like(number, -1)
    third = Neighbours(middle).nearest(middle, MOSTLY + 1)[0][:, MOSTLY]
    near, which = tree.nearest(middle, min(LOOK, len(points)))
    other = (number[which] < 0) & (near < third[:, None])
    number = number.copy()
    number[again[(other.sum(axis=1) > SPACING_RANK - MOSTLY)[row]]] = -1
    return number


def along_or_across(points: Array, distance: Array, index: NDArray[np.int64]) -> Array:
    """Return the (n,) distance to the sixth neighbour, mm, or, of points in a row, to the next row if that is more."""
    spacing: Array = distance[:, SPACING_RANK].copy()
    straight, along = _rows(points, index)
    row = np.flatnonzero(straight)
    if not len(row):
        return spacing
    along = along[row]
    k = min(ACROSS, len(row))
    apart, near = Neighbours(points[row]).nearest(points[row], k)
    offset = points[row][near] - points[row][:, None]
    run = np.einsum("mki,mi->mk", offset, along)
    across = np.sqrt(np.maximum(apart**2 - run**2, 0.0))
    parallel = np.abs(np.einsum("mki,mi->mk", along[near], along)) > PARALLEL
    wide = spacing[row, None]
    beside = parallel & (across > np.abs(run)) & (across > wide) & (across < FARTHEST_ROW * wide)
    next_row = np.where(beside, across, np.inf).min(axis=1)
    spacing[row] = np.where(np.isfinite(next_row), next_row, spacing[row])
    return spacing


def _rows(points: Array, index: NDArray[np.int64]) -> tuple[NDArray[np.bool_], Array]:
    """Tell which points lie in a row like most of their eight nearest, and the direction (n, 3) of that row."""
    straight = np.zeros(len(points), dtype=bool)
    direction = np.zeros((len(points), 3))
    for count in ROW_POINTS:
        for start in range(0, len(points), BLOCK):
            rows = slice(start, start + BLOCK)
            patch = points[index[rows, :count]]
            patch = patch - patch.mean(axis=1, keepdims=True)
            spread = np.matmul(patch.transpose(0, 2, 1), patch)
            trace = np.einsum("mii->m", spread)
            minors = 0.5 * (trace**2 - np.einsum("mij,mij->m", spread, spread))
            # With variances l <= m <= M and m <= s^2 M: lm + lM + mM <= (2 s^2 + s^4) M^2. Spares most of the eigh.
            maybe = np.flatnonzero(minors <= (2 * STRAIGHT**2 + STRAIGHT**4) * trace**2)
            variance, axes = np.linalg.eigh(spread[maybe])
            found = variance[:, 1] < STRAIGHT**2 * variance[:, 2]
            straight[start + maybe[found]] = True
            direction[start + maybe[found]] = axes[found, :, 2]
    near = index[:, 1 : ROW_POINTS[0]]
    alike = straight[near] & (np.abs(np.einsum("mki,mi->mk", direction[near], direction)) > PARALLEL)
    return straight & (alike.mean(axis=1) > 0.5), direction
