"""Clusters of scan points that are one point seen again and again with noise, as frames of one coarse grid leave them.

Within such a cluster points lie as near to each other as on a densely scanned surface, and say nothing of how far the
next one is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from clearance.frames import Array
from clearance.scene.mesh import IntArray
from clearance.scene.neighbours import Neighbours

SIDES_MM = (0.125, 0.25, 0.5, 1.0, 2.0)
"""Sides of the cubes that join the points of a cluster; each twice the one before, so that cubes nest."""

LOOSE = 1.5
"""Points with a third neighbour farther than this many sides are not looked at with cubes of that side."""

WIDE = 4.0
"""A cluster is no more than this many sides wide along each axis."""

LEAST = 4
"""Fewer points are no cluster."""

EMPTY = 0.75
"""Within so many diagonals of its box from the box's middle there is nothing but the cluster."""

ROWS_ABOUT = ((0, 1), (1, -1), (1, 0), (1, 1))
"""Steps in x and y to half the rows of cubes, along z, that touch a cube's own."""


@dataclass(frozen=True, eq=False)
class _Bunches:
    """Bunches of points: number of points in each and the box about them."""

    low: Array
    high: Array
    count: IntArray

    def joined(self, group: IntArray) -> tuple[_Bunches, IntArray, IntArray]:
        """Join those of one group; return also the groups there are, ascending, and which each bunch went into."""
        order = np.argsort(group, kind="stable")
        ordered = group[order]
        new = np.concatenate([[True], ordered[1:] != ordered[:-1]])
        start = np.flatnonzero(new)
        into = np.empty(len(group), dtype=np.int64)
        into[order] = np.cumsum(new) - 1
        low, high = np.minimum.reduceat(self.low[order], start), np.maximum.reduceat(self.high[order], start)
        return _Bunches(low, high, np.add.reduceat(self.count[order], start)), ordered[start], into

    def and_points(self, points: Array) -> _Bunches:
        return _Bunches(
            np.concatenate([self.low, points]), np.concatenate([self.high, points]),
            np.concatenate([self.count, np.ones(len(points), np.int64)]),
        )  # fmt: skip


def find_repeats(points: Array, third_mm: Array, tree: Neighbours) -> IntArray:
    """Return for each of (n, 3) points the number of the cluster it belongs to, -1 if none.

    A cluster has at least four points, is at most 8 mm wide along each axis, and in a ball about it, half as wide
    again as one that holds its box, there is no other point.

    Parameters
    ----------
    points : (n, 3) float64, mm
    third_mm : (n,) float64
        Distance of each to its third neighbour.
    tree : Neighbours
        Of all the points.
    """
    number = np.full(len(points), -1, dtype=np.int64)
    origin = points.min(axis=0)
    bunches = _Bunches(np.zeros((0, 3)), np.zeros((0, 3)), np.zeros(0, np.int64))
    rows, of_row = np.zeros(0, np.int64), np.zeros(0, np.int64)
    done, clusters = -1.0, 0
    for side in SIDES_MM:
        new = np.flatnonzero((third_mm <= LOOSE * side) & (third_mm > done))
        done = LOOSE * side
        of_row = np.concatenate([of_row, len(bunches.count) + np.arange(len(new))])
        rows = np.concatenate([rows, new])
        if not len(rows):
            continue
        bunches, cube, piece = _by_cubes(bunches.and_points(points[new]), origin, side)
        of_row = cube[of_row]
        lonely = np.flatnonzero(_lonely(bunches.joined(piece)[0], side, tree))
        if len(lonely):
            name = np.full(piece.max() + 1, -1, dtype=np.int64)
            name[lonely] = clusters + np.arange(len(lonely))
            clusters += len(lonely)
            found = name[piece[of_row]]
            number[rows[found >= 0]] = found[found >= 0]
    return number


def _by_cubes(bunches: _Bunches, origin: Array, side: float) -> tuple[_Bunches, IntArray, IntArray]:
    """Join the bunches of each cube.

    Returns
    -------
    joined : _Bunches
    cube : (m,) int64
        Which of `joined` each bunch went into.
    piece : (k,) int64
        For each of `joined` the number of the piece it makes with those in the cubes that touch its own.
    """
    index = np.floor((bunches.low - origin) / side).astype(np.int64)
    size = index.max(axis=0) + 2  # One free cube between the end of a row and the start of the next.
    turns = np.array([size[1] * size[2], size[2], 1])
    joined, keys, cube = bunches.joined(index @ turns)
    beside = np.flatnonzero(np.diff(keys) == 1)
    here, there = [beside], [beside + 1]
    for x, y in ROWS_ABOUT:
        wanted = keys + (x * turns[0] + y * turns[1] - 1)
        place = np.searchsorted(keys, wanted)
        for further in range(3):  # Of three cubes one upon the other the keys follow each other, if all are there.
            at = np.minimum(place + further, len(keys) - 1)
            met = np.flatnonzero((keys[at] - wanted >= 0) & (keys[at] - wanted <= 2))
            here.append(met)
            there.append(at[met])
    pair = (np.concatenate(here), np.concatenate(there))
    graph = coo_array((np.ones(len(pair[0]), np.int8), pair), shape=(len(keys), len(keys)))
    piece = connected_components(graph, directed=False)[1].astype(np.int64)
    return joined, cube, piece


def _lonely(pieces: _Bunches, side: float, tree: Neighbours) -> NDArray[np.bool_]:
    """Tell which pieces are small, of many points, and have no other point about them."""
    wide = pieces.high - pieces.low
    lonely = (pieces.count >= LEAST) & (wide.max(axis=1) <= WIDE * side)
    maybe = np.flatnonzero(lonely)
    middle, reach = (pieces.low + pieces.high)[maybe] / 2, EMPTY * np.linalg.norm(wide[maybe], axis=1)
    lonely[maybe] = tree.count_within(middle, reach) == pieces.count[maybe]
    return np.asarray(lonely)


def once_each(points: Array, number: IntArray) -> tuple[Array, IntArray]:
    """Return points of which each cluster is one, its mean, and for each of (n, 3) `points` the row of its own.

    The clusters come first, in the order of their numbers.
    """
    again = number >= 0
    used, cluster = np.unique(number[again], return_inverse=True)
    count = np.bincount(cluster)
    middle = np.stack([np.bincount(cluster, points[again, k]) / count for k in range(3)], axis=1)
    row = np.empty(len(points), dtype=np.int64)
    row[again] = cluster
    row[~again] = len(used) + np.arange(int((~again).sum()))
    return np.concatenate([middle, points[~again]]), row
