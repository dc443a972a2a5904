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

FIRST = 200
"""Points nearest to a mesh's box that are asked first how near they are."""

MANY, CELL_MM = 5000, 8.0
"""So many points are asked about by cubes of this side first."""


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


def near_box(points: Array, places: Array, reach_mm: float) -> IntArray:
    """Return the rows of (n, 3) points, mm, in the bounding box of `places` widened by `reach_mm` on all sides."""
    low, high = places.min(axis=0) - reach_mm, places.max(axis=0) + reach_mm
    first = points[:, 0]
    rows = np.flatnonzero((first >= low[0]) & (first <= high[0]))
    for axis in (1, 2):
        along = points[rows, axis]
        rows = rows[(along >= low[axis]) & (along <= high[axis])]
    return rows


def outside_box(corners: Array, points: Array) -> Array:
    """Return (n,) distances, mm, to the bounding box of `corners`: none is nearer to anything within."""
    away: Array = np.maximum(np.maximum(corners.min(axis=0) - points, points - corners.max(axis=0)), 0.0)
    return np.asarray(np.sqrt(np.einsum("ij,ij->i", away, away)), np.float64)


def nearest_first(target: Mesh, points: Array, spare_mm: Array) -> Array:
    """Return (n,) distances, mm, from points to a mesh; infinite for points that are out of account.

    Those are points farther than the least distance and `spare_mm` (n,), at least 0: the mesh's box tells most of them.
    """
    outside = outside_box(target.vertices, points)
    first = np.argpartition(outside, FIRST)[:FIRST] if len(points) > FIRST else np.arange(len(points))
    least = float(distance_to(target, points[first]).min())
    asked = np.flatnonzero(outside <= least + spare_mm)
    away = np.full(len(points), np.inf)
    away[asked] = distance_to(target, points[asked])
    return away


def come_within(target: Mesh | Array, points: Array, within_mm: Array) -> NDArray[np.bool_]:
    """Tell which of (n, 3) points are as near to a mesh or to some points as their own `within_mm` (n,)."""
    if len(points) < MANY:
        return np.asarray(distance_to(target, points) <= within_mm)
    balls = balls_of_points(points, CELL_MM)
    most = np.full(len(balls.centres), -np.inf)
    np.maximum.at(most, balls.group, within_mm)
    places = target.vertices if isinstance(target, Mesh) else target
    maybe = outside_box(places, balls.centres) - balls.radii <= most
    maybe[maybe] = distance_to(target, balls.centres[maybe]) - balls.radii[maybe] <= most[maybe]
    found = maybe[balls.group]
    found[found] = distance_to(target, points[found]) <= within_mm[found]
    return found


def distance_to(target: Mesh | Array, points: Array) -> Array:
    """Return (n,) distances, mm, from `points` to a mesh's surface or to the nearest of some points."""
    if isinstance(target, Mesh):
        return unsigned_distance(target, points)[0]
    if not len(points):
        return np.zeros(0)
    tree = cKDTree(target, balanced_tree=False, compact_nodes=False)
    return np.asarray(tree.query(points, workers=-1)[0], np.float64)
