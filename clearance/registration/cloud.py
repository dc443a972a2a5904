"""What a scan is fitted to: a mesh, or the cloud of an earlier scan with the plane at each of its points."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.frames import Array
from clearance.scene.neighbours import Neighbours
from clearance.scene.open3d_import import open3d

CUBE_MM = 1.0
"""Points within one cube of this side are averaged: repeats and far finer sampling add nothing."""

MOST_POINTS = 200_000
"""Points kept at most, drawn at random (seeded)."""

SEED = 20_240
PLANE_POINTS = 8
"""Neighbours that a point needs for a plane."""

COVERED = 0.9
"""Share of the points that have so many neighbours within `spacing_mm`."""

PATCH_MM = 4.0
"""Radius over which planes are fitted, or the spacing if that is more: noise is averaged, bends are not."""


@dataclass(frozen=True, eq=False)
class CloudModel:
    """A scan as something to fit to.

    Attributes
    ----------
    points, normals : (n, 3) float64, mm, model frame
        Normals are of unit length, of either sign.
    spacing_mm : float
        Distance within which nine points in ten have eight neighbours: about 1.5 pitches of an even scan.
    """

    points: Array
    normals: Array
    spacing_mm: float


def cloud_model(points: Array) -> CloudModel:
    """Return (n, 3) `points`, mm, as a model: thinned, with a plane at each, without those that have none.

    Raises
    ------
    ValueError
        If there are too few points for a single plane.
    """
    kept = _thinned(points)
    if len(kept) <= PLANE_POINTS:
        raise ValueError(f"{len(kept)} distinct points are too few to fit anything to")
    farthest, spacing = _spacing(kept)
    radius = max(PATCH_MM, spacing)
    normals = plane_normals(kept, radius)
    flat = farthest <= radius
    return CloudModel(kept[flat], normals[flat], spacing)


def plane_radius(points: Array) -> float:
    """Return the radius, mm, within which most of (n > 8, 3) points have neighbours enough for a plane."""
    return max(PATCH_MM, _spacing(points)[1])


def plane_normals(points: Array, radius_mm: float) -> Array:
    """Return the (n, 3) unit normal, of either sign, of a plane through the neighbours of each point."""
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points))
    cloud.estimate_normals(o3d.geometry.KDTreeSearchParamRadius(radius_mm))
    return np.asarray(cloud.normals, np.float64)


def _spacing(points: Array) -> tuple[Array, float]:
    """Return the distance, (n,) mm, of each point's eighth neighbour and its `COVERED` quantile."""
    farthest = Neighbours(points).nearest(points, PLANE_POINTS + 1)[0][:, -1]
    return farthest, float(np.quantile(farthest, COVERED))


def _thinned(points: Array) -> Array:
    """Average the points of each cube and draw `MOST_POINTS` of them."""
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(np.ascontiguousarray(points, dtype=np.float64)))
    kept = np.asarray(cloud.voxel_down_sample(CUBE_MM).points, np.float64)
    if len(kept) > MOST_POINTS:
        kept = kept[np.sort(np.random.default_rng(SEED).choice(len(kept), MOST_POINTS, replace=False))]
    return kept
