"""The region of the scan in which a model is looked for: thinned, with normals, and what was seen to be empty."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter
from scipy.spatial import cKDTree

from clearance.errors import InputError
from clearance.frames import Array
from clearance.job.where import Region
from clearance.scene.open3d_import import open3d

THINNED = 1 / 3
"""Voxels between the region's points once thinned."""

PATCH_VOXELS, PATCH_POINTS = 2.0, 60
"""Radius, in voxels, and most points of the patch that a normal is fitted to."""

LEAST_POINTS = 500
MOST_RADIUS = 1.0
"""Largest radius of the region over the model's diagonal: in trials a bay that was 92 % other things hid the part."""

PIXEL_VOXELS, BEHIND_VOXELS = 0.75, 1.5
"""Width, in voxels at the region, of a pixel of what a station saw, and how far before that a place must lie to count
as seen to be empty."""


@dataclass(frozen=True, eq=False)
class Looked:
    """The region of the scan.

    Attributes
    ----------
    points, normals : (n, 3) float64, mm, bay frame, thinned
    signed : whether the normals are known to point out of the material
    tree : KD-tree of `points`
    empty : what is known to be empty
    """

    points: Array
    normals: Array
    signed: bool
    tree: cKDTree
    empty: SeenEmpty


class SeenEmpty:
    """What each station saw past: the nearest surface in every direction towards the region."""

    def __init__(self, points: Array, stations: Array, centre: Array, reach: float, voxel_mm: float) -> None:
        self.behind = BEHIND_VOXELS * voxel_mm
        self._views = []
        for eye in stations:
            distance = float(np.linalg.norm(centre - eye))
            if distance > 1.1 * reach:
                view = _View(eye, centre, reach, PIXEL_VOXELS * voxel_mm / distance)
                self._views.append((view, view.nearest(points)))

    def __bool__(self) -> bool:
        return bool(self._views)

    def holds(self, points: Array) -> NDArray[np.bool_]:
        """Tell which of (n, 3) points some station saw past: it saw a surface well behind them, and none before."""
        found = np.zeros(len(points), bool)
        for view, nearest in self._views:
            pixel, distance, inside = view.pixels(points)
            behind = nearest[pixel[inside, 0], pixel[inside, 1]]
            found[inside] |= np.isfinite(behind) & (behind > distance[inside] + self.behind)
        return found


class _View:
    """Square pixels about the direction from `eye` to `centre`, wide enough for `reach` about it."""

    def __init__(self, eye: Array, centre: Array, reach: float, pixel: float) -> None:
        self.eye, self.pixel = eye, pixel
        _, _, axes = np.linalg.svd((centre - eye)[None])
        self.axes = axes[[1, 2, 0]] * np.array([[1], [1], [np.sign(axes[0] @ (centre - eye))]])
        self.half = int(reach / float(np.linalg.norm(centre - eye)) / pixel) + 2

    def pixels(self, points: Array) -> tuple[NDArray[np.int64], Array, NDArray[np.bool_]]:
        """Return each point's pixel (n, 2), distance from the eye (n,) mm and whether it is inside the view."""
        x, y, z = self.axes @ (points - self.eye).T
        ahead = z > 1e-6
        depth = np.where(ahead, z, 1.0)
        at = np.floor(np.column_stack([x, y]) / depth[:, None] / self.pixel) + self.half
        inside = ahead & ((at >= 0) & (at < 2 * self.half)).all(axis=1)
        return np.where(inside[:, None], at, 0).astype(np.int64), np.sqrt(x * x + y * y + z * z), inside

    def nearest(self, points: Array) -> Array:
        """Return the distance, mm, to the nearest of `points` in each pixel or the eight about it, or inf."""
        pixel, distance, inside = self.pixels(points)
        found = np.full((2 * self.half, 2 * self.half), np.inf)
        np.minimum.at(found, (pixel[inside, 0], pixel[inside, 1]), distance[inside])
        return np.asarray(minimum_filter(found, size=3), np.float64)


def look_at(
    region: Region, scan_points: Array, stations: Array | None, diagonal_mm: float, voxel_mm: float, job_file: Path
) -> Looked:
    """Return the scan's points in the region, thinned, with normals that point to the stations where these are known.

    Raises
    ------
    InputError
        If the region is far larger than the model, or holds too few points.
    """
    if region.radius > MOST_RADIUS * diagonal_mm:
        found = f"a radius of {region.radius:g} mm for a model {diagonal_mm:.0f} mm across"
        most = MOST_RADIUS * diagonal_mm
        wanted = f"at most {most:.0f} mm, best {diagonal_mm / 2:.0f} mm: else other things outnumber it"
        raise InputError(job_file, found, wanted, "register.region.radius")
    centre = np.array(region.center, np.float64)
    inside = scan_points[((scan_points - centre) ** 2).sum(axis=1) < region.radius**2]
    points, normals = thinned(inside, voxel_mm)
    if len(points) < LEAST_POINTS:
        found = f"{len(inside)} scan points, {len(points)} once thinned to {THINNED * voxel_mm:.1f} mm"
        raise InputError(job_file, found, "put the region where the scan shows the part", "register.region")
    known = np.zeros((0, 3)) if stations is None else np.asarray(stations, np.float64).reshape(-1, 3)
    normals = to_stations(points, normals, known) if len(known) else bulging(points, normals, voxel_mm)
    return Looked(
        points, normals, bool(len(known)), cKDTree(points, compact_nodes=False, balanced_tree=False),
        SeenEmpty(scan_points, known, centre, region.radius + diagonal_mm / 2, voxel_mm),
    )  # fmt: skip


def thinned(points: Array, voxel_mm: float) -> tuple[Array, Array]:
    """Return one point per third of a voxel and the normals of the patches about them, either sign."""
    if len(points) < LEAST_POINTS:
        return points, np.zeros_like(points)
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(np.ascontiguousarray(points)))
    cloud = cloud.voxel_down_sample(THINNED * voxel_mm)
    cloud.estimate_normals(o3d.geometry.KDTreeSearchParamHybrid(PATCH_VOXELS * voxel_mm, PATCH_POINTS))
    return np.array(cloud.points), np.array(cloud.normals)


def to_stations(points: Array, normals: Array, stations: Array) -> Array:
    """Turn each normal to the station it faces most squarely, from either side: the likeliest to have seen it."""
    ways = stations[None] - points[:, None]
    cosine = np.einsum("nki,ni->nk", ways / np.linalg.norm(ways, axis=2, keepdims=True), normals)
    squarest = cosine[np.arange(len(points)), np.abs(cosine).argmax(axis=1)]
    return np.where(squarest[:, None] < 0, -normals, normals)


def bulging(points: Array, normals: Array, voxel_mm: float) -> Array:
    """Turn each normal to the side towards which the surface bulges within five voxels.

    The same rule on model and scan gives both the same side wherever their surfaces are the same,
    whichever side that is; on flat places it is left to chance.
    """
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(np.ascontiguousarray(points)))
    coarse = np.asarray(cloud.voxel_down_sample(voxel_mm).points)
    distance, index = cKDTree(coarse).query(points, k=60, distance_upper_bound=5 * voxel_mm)
    near = np.isfinite(distance)
    padded = np.vstack([coarse, np.zeros((1, 3))])
    middle = (padded[index] * near[..., None]).sum(axis=1) / np.maximum(near.sum(axis=1), 1)[:, None]
    side = ((points - middle) * normals).sum(axis=1)
    return np.where(side[:, None] < 0, -normals, normals)
