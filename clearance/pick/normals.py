"""Directions of the surface at scan points, for shading only."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from clearance.frames import Array

NEIGHBOURS = 9
BATCH = 50_000


def normals(points: Array) -> Array:
    """Return unit normals, (n, 3), of the planes through each point's nearest neighbours; which way out is not told.

    A point with too few neighbours gets zeros.
    """
    found = np.zeros((len(points), 3))
    if len(points) < NEIGHBOURS:
        return found
    tree = cKDTree(points)
    for start in range(0, len(points), BATCH):
        here = points[start : start + BATCH]
        near = points[np.asarray(tree.query(here, k=NEIGHBOURS)[1])]
        away = near - near.mean(axis=1, keepdims=True)
        _, axes = np.linalg.eigh(np.einsum("nki,nkj->nij", away, away))
        found[start : start + BATCH] = axes[:, :, 0]
    return found
