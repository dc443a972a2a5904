"""Drop what cannot come near: a cheap, exact filter before hierarchies are built."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearance.distance.inside import unsigned_distance
from clearance.frames import Array
from clearance.scene.cubes import cubes
from clearance.scene.mesh import Mesh

IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Balls:
    """Balls that cover primitives; each centre is a point of the body.

    Attributes
    ----------
    centres : (k, 3) float64, mm
    radii : (k,) float64, mm
    group : (n,) int64
        For each primitive its ball.
    """

    centres: Array
    radii: Array
    group: IntArray


def balls_of_points(points: Array, cell_mm: float) -> Balls:
    """Group (n, 3) points into cubes of side `cell_mm`; one ball per cube about one of its points."""
    first, group = cubes(points, cell_mm)
    away = np.linalg.norm(points - points[first][group], axis=1)
    radii = np.zeros(len(first))
    np.maximum.at(radii, group, away)
    return Balls(points[first], radii, group)


def balls_of_mesh(mesh: Mesh) -> Balls:
    """One ball per triangle about its centroid."""
    corners = mesh.triangles
    centres = corners.mean(axis=1)
    radii = np.linalg.norm(corners - centres[:, None], axis=2).max(axis=1)
    return Balls(centres, radii, np.arange(len(corners), dtype=np.int64))


def distance_to(target: Mesh | Array, points: Array) -> Array:
    """Return (n,) distances, mm, from `points` to a mesh's surface or to the nearest of some points."""
    if isinstance(target, Mesh):
        return unsigned_distance(target, points)[0]
    tree = cKDTree(target, balanced_tree=False, compact_nodes=False)
    return np.asarray(tree.query(points, workers=-1)[0], np.float64)
