"""How far a convex hull of a few points lies from the origin: from below by a separating plane, from above by a point.

The plane is the proof. How its direction was found does not matter: a bad one proves less, never too much.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array

ITERATIONS = 60


def hull_distance(points: Array, enough: Array) -> tuple[Array, Array]:
    """Bound the distance of hulls from the origin until told from `enough`, or as closely as it comes.

    Steps of Mitchell, Demyanov and Malozemov (1974, SIAM J. Control 12(1):19-26): weight moves from
    the hull's point farthest along the present direction to the nearest. The hull lies beyond the
    plane at the least of n . p along any unit n, so that is a lower bound.

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
    weights = np.zeros(points.shape[:2])
    weights[rows, start] = 1.0
    at = points[rows, start]
    for _ in range(ITERATIONS):
        along = np.einsum("mki,mi->mk", points, at)
        length = np.linalg.norm(at, axis=1)
        here = along.min(axis=1) / np.maximum(length, 1e-300)
        lower[rows] = np.maximum(lower[rows], here)
        upper[rows] = np.minimum(upper[rows], length)
        open_ = (lower[rows] < enough[rows]) & (upper[rows] >= enough[rows]) & (length > 0)
        if not open_.any():
            break
        rows, points, weights, along, at = rows[open_], points[open_], weights[open_], along[open_], at[open_]
        at, weights = _step(points, weights, along, at)
    return lower, upper


def _step(points: Array, weights: Array, along: Array, at: Array) -> tuple[Array, Array]:
    rows = np.arange(len(points))
    near: NDArray[np.int64] = along.argmin(axis=1)
    far: NDArray[np.int64] = np.where(weights > 0, along, -np.inf).argmax(axis=1)
    way = points[rows, near] - points[rows, far]
    square = np.einsum("mi,mi->m", way, way)
    gain = along[rows, far] - along[rows, near]
    step = np.minimum(weights[rows, far], gain / np.maximum(square, 1e-300))
    weights[rows, far] -= step
    weights[rows, near] += step
    return at + step[:, None] * way, weights
