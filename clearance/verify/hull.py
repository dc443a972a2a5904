"""How far a convex hull of a few points lies from the origin: from below by a separating plane, from above by a point.

The plane is the proof. How its direction was found does not matter: a bad one proves less, never too much.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array

ITERATIONS = 30
SUBSETS = tuple(np.array(c) for size in (1, 2, 3) for c in combinations(range(4), size))
HELD = tuple(np.isin(np.arange(4), subset) for subset in SUBSETS)
FLAT = 1e-14
"""Edges and triangles thinner than this, relative, are left to their sides and corners."""


def hull_distance(points: Array, enough: Array) -> tuple[Array, Array]:
    """Bound the distance of hulls from the origin until told from `enough`, or as closely as it comes.

    After Gilbert, Johnson and Keerthi (1988, IEEE J. Robotics and Automation 4(2):193-203): of at
    most four of the points the place nearest to the origin gives a direction, the point that lies
    least far along it joins them. A hull lies beyond the plane at the least of n . p along any unit n.

    Parameters
    ----------
    points : (m, k, 3) float64, mm
    enough : (m,) float64, mm
        A hull is left once its lower bound reaches this, or its upper bound falls below.

    Returns
    -------
    lower, upper : (m,) float64, mm
    """
    count = len(points)
    lower, upper = np.full(count, -np.inf), np.full(count, np.inf)
    rows = np.arange(count)
    start = np.einsum("mki,mki->mk", points, points).argmin(axis=1)
    chosen, used = np.zeros((count, 4, 3)), np.zeros((count, 4), dtype=bool)
    at = points[rows, start]
    chosen[:, 0], used[:, 0] = at, True
    for _ in range(ITERATIONS):
        along = np.einsum("mki,mi->mk", points, at)
        length = np.linalg.norm(at, axis=1)
        lower[rows] = np.maximum(lower[rows], along.min(axis=1) / np.maximum(length, 1e-300))
        upper[rows] = np.minimum(upper[rows], length)
        open_ = (lower[rows] < enough[rows]) & (upper[rows] >= enough[rows]) & (length > 0) & ~used.all(axis=1)
        if not open_.any():
            break
        rows, points, chosen, used, along = rows[open_], points[open_], chosen[open_], used[open_], along[open_]
        here = np.arange(len(rows))
        free = (~used).argmax(axis=1)
        chosen[here, free], used[here, free] = points[here, along.argmin(axis=1)], True
        at, used = _nearest(chosen, used)
    return lower, upper


def _nearest(points: Array, used: NDArray[np.bool_]) -> tuple[Array, NDArray[np.bool_]]:
    """Return the place (m, 3) nearest to the origin on corners, edges and triangles of (m, 4, 3), and what it lies on.

    Where all four enclose the origin that is not told: the place is then on their surface.
    """
    best, length = points[:, 0].copy(), np.full(len(points), np.inf)
    kept = np.zeros_like(used)
    for subset, holds in zip(SUBSETS, HELD, strict=True):
        place, held = _foot(points[:, subset])
        size = np.einsum("mi,mi->m", place, place)
        better = held & used[:, subset].all(axis=1) & (size < length)
        best[better], length[better] = place[better], size[better]
        kept[better] = holds
    return best, kept


def _foot(points: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Foot (m, 3) of the perpendicular from the origin on 1 to 3 points' span, and whether it lies between them."""
    a = points[:, 0]
    if points.shape[1] == 1:
        return a, np.ones(len(a), dtype=bool)
    u = points[:, 1] - a
    uu, ua = np.einsum("mi,mi->m", u, u), np.einsum("mi,mi->m", u, a)
    if points.shape[1] == 2:
        share = -ua / np.where(uu > 0, uu, 1.0)
        return a + share[:, None] * u, (uu > 0) & (share >= 0) & (share <= 1)
    v = points[:, 2] - a
    vv, va, uv = (np.einsum("mi,mi->m", x, y) for x, y in ((v, v), (v, a), (u, v)))
    square = uu * vv - uv**2
    wide = square > FLAT * uu * vv
    square = np.where(wide, square, 1.0)
    s, t = (uv * va - vv * ua) / square, (uv * ua - uu * va) / square
    return a + s[:, None] * u + t[:, None] * v, wide & (s >= 0) & (t >= 0) & (s + t <= 1)
