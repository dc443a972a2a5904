"""Group points by the cubes of a grid they lie in."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import IntArray


def cubes(points: Array, side_mm: float) -> tuple[IntArray, IntArray]:
    """Group (n, 3) points by cubes of side `side_mm`.

    Returns
    -------
    first : (k,) int64
        For each cube that holds points, the index of its first one.
    group : (n,) int64
        For each point the number of its cube, 0 to k - 1.
    """
    if not len(points):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    index = np.floor((points - points.min(axis=0)) / side_mm)
    count = index.max(axis=0) + 1
    if float(count.prod()) < 2**62:
        x, y, z = index.astype(np.int64).T
        key = (x * int(count[1]) + y) * int(count[2]) + z
        _, first, group = np.unique(key, return_index=True, return_inverse=True)
    else:
        _, first, group = np.unique(index, axis=0, return_index=True, return_inverse=True)
    return np.asarray(first, np.int64), np.ravel(group).astype(np.int64)
