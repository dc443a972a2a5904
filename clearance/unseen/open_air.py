"""Whether the scan shows something behind a place: then what stood there would have hidden it.

An opaque thing hides what is behind it. Without stations nobody knows from where the scan looked, so this
takes it to have looked from the part's side, no flatter than 45 degrees to the surface whose place is asked for.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.neighbours import Neighbours

FLATTEST_RAD = np.pi / 4
"""Widest angle between a line of sight and the normal of the surface, and of what is seen behind it."""

RINGS = ((0.0, 1), (0.25, 6), (0.5, 12), (0.72, 16))
"""Lines of sight: angle from the normal, rad, and how many at that angle."""

FARTHEST_MM = 400.0
MOST_STEPS = 60
PATCH = 12
"""Neighbours that tell how what is seen behind lies."""


def seen_past(
    places: Array, normals: Array, start_mm: Array, tree: Neighbours, points: Array, hit_mm: float
) -> NDArray[np.bool_]:
    """Tell behind which of (n, 3) places scan points are seen.

    Parameters
    ----------
    places, normals : (n, 3) float64
        Where the surface might be, mm, and its unit normals to the part's side.
    start_mm : (n,) float64
        How far about each place no scan point lies.
    tree, points : the scan points, (m, 3) float64, mm
    hit_mm : float
        Distance to a scan point at which a line of sight has met the surface.

    Returns
    -------
    (n,) bool
        Whether a line of sight through the place meets, behind it, a surface that faces it.
    """
    if not len(places):
        return np.zeros(0, bool)
    ways = _ways(normals)
    count = ways.shape[1]
    owner, way = np.repeat(np.arange(len(places)), count), ways.reshape(-1, 3)
    start = np.repeat(start_mm, count)
    gone = 0.5 * start
    seen = np.zeros(len(places), bool)
    alive = np.arange(len(owner))
    for _ in range(MOST_STEPS):
        at = places[owner[alive]] + gone[alive, None] * way[alive]
        away, index = tree.nearest(at, PATCH)
        met = away[:, 0] < hit_mm
        facing = _facing(points[index[met]], way[alive[met]]) & (gone[alive[met]] > 2 * start[alive[met]])
        seen[owner[alive[met][facing]]] = True
        gone[alive] += np.maximum(away[:, 0] - 0.5 * hit_mm, 0.5 * hit_mm)
        alive = alive[~met]
        alive = alive[(gone[alive] < FARTHEST_MM) & ~seen[owner[alive]]]
        if not len(alive):
            break
    return seen


def _ways(normals: Array) -> Array:
    """Return unit directions away from the part's side, (n, k, 3), within `FLATTEST_RAD` of minus the normals."""
    other = np.where(np.abs(normals[:, :1]) < 0.7, [[1.0, 0, 0]], [[0, 1.0, 0]])
    u = np.cross(normals, other)
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    v = np.cross(normals, u)
    return np.stack(
        [
            -np.cos(tilt) * normals + np.sin(tilt) * (np.cos(turn) * u + np.sin(turn) * v)
            for tilt, many in RINGS
            for turn in 2 * np.pi * np.arange(many) / many
        ],
        axis=1,
    )


def _facing(patches: Array, ways: Array) -> NDArray[np.bool_]:
    """Tell which patches (m, k, 3) lie across the unit ways (m, 3) rather than along them."""
    if not len(patches):
        return np.zeros(0, bool)
    spread = patches - patches.mean(axis=1, keepdims=True)
    normal = np.linalg.eigh(np.matmul(spread.transpose(0, 2, 1), spread))[1][..., 0]
    return np.asarray(np.abs(np.einsum("mi,mi->m", normal, ways)) > np.cos(FLATTEST_RAD))
