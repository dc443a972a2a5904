"""First poses of a model in a scan, without a guess: pairs of places that look alike, scored on a grid.

Features by open3d (FPFH: Rusu, Blodow and Beetz 2009, ICRA, doi 10.1109/ROBOT.2009.5152473). Random pairs
of alike places whose distance and angles between normals agree (the point-pair features of Drost et al.
2010, CVPR, doi 10.1109/CVPR.2010.5540108) each give a pose; all are scored.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from clearance.frames import Array
from clearance.scene.open3d_import import open3d

FEATURE_VOXELS, NORMAL_VOXELS = 5.0, 2.0
"""Radius, in voxels, of the feature about a place and of the patch its normal is fitted to."""

ALIKE = 3
"""Places of the scan taken as alike to each place of the model."""

PAIRS = 3_000_000
BATCH = 500_000
NEAREST_SHARE = 0.12
"""Places of a pair must lie at least this share of the diagonal apart: nearer ones fix the turn badly."""

SQUARE_LEAST = 1e-6
"""Scan normals whose sum has less than this square to their pair give no frame."""

ANGLE_OFF = np.radians(12.0)
LENGTH_OFF = 1.5
"""How far a pair in the scan may differ from its pair on the model: angles, and length in voxels."""

GRID_REACH = 1.5
"""Voxels within which a scored place counts as met."""

FACING = 0.8
"""Cosine between the normals of the model and of the scan above which a place counts as met."""

ROUGH, FINE, KEPT = 400, 1_500, 2_000
"""Places scored in the first round and in the second, and how many poses reach the second."""


@dataclass(frozen=True, eq=False)
class Places:
    """Points (n, 3) mm, unit normals (n, 3) and features (n, 33) of one surface."""

    points: Array
    normals: Array
    features: NDArray[np.float32]


def places_of(points: Array, normals: Array, voxel_mm: float) -> Places:
    """Return one place per cube of `voxel_mm` with its feature."""
    o3d = open3d()
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(np.ascontiguousarray(points)))
    cloud.normals = o3d.utility.Vector3dVector(np.ascontiguousarray(normals))
    cloud = cloud.voxel_down_sample(voxel_mm)
    cloud.normalize_normals()
    search = o3d.geometry.KDTreeSearchParamHybrid(FEATURE_VOXELS * voxel_mm, 200)
    features = o3d.pipelines.registration.compute_fpfh_feature(cloud, search)
    return Places(np.asarray(cloud.points), np.asarray(cloud.normals), np.asarray(features.data, np.float32).T.copy())


def alike(model: Places, scan: Places, count: int = ALIKE) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return indices (k,) into model and scan of places with like features, `count` for each place of the model."""
    squared = (scan.features**2).sum(axis=1)
    found = np.empty((len(model.points), count), np.int64)
    for start in range(0, len(model.points), 1000):
        rows = slice(start, start + 1000)
        apart = squared - 2 * model.features[rows] @ scan.features.T
        found[rows] = np.argpartition(apart, count, axis=1)[:, :count]
    return np.repeat(np.arange(len(model.points)), count), found.ravel()


class Grid:
    """Nearest scan place of every voxel of a box: distance and normal in one look-up."""

    def __init__(self, points: Array, normals: Array, voxel_mm: float) -> None:
        self.voxel = voxel_mm / 1.5
        self.low = points.min(axis=0) - 3 * voxel_mm
        self.size = np.ceil((points.max(axis=0) + 3 * voxel_mm - self.low) / self.voxel).astype(np.int64) + 1
        cell = self._cell(points)
        owner = np.full(int(np.prod(self.size)), -1, np.int32)
        owner[cell] = np.arange(len(points))
        away, nearest = distance_transform_edt(owner.reshape(self.size) < 0, return_indices=True)
        flat = np.ravel_multi_index(tuple(nearest), tuple(self.size)).ravel()
        self.near = np.where(away.ravel() * self.voxel <= GRID_REACH * voxel_mm, owner[flat], len(points))
        self.normals = np.vstack([normals, np.zeros((1, 3))]).astype(np.float32)

    def _cell(self, points: Array) -> NDArray[np.int64]:
        index = np.floor((points - self.low) / self.voxel).astype(np.int64)
        index = np.clip(index, 0, self.size - 1)
        cell: NDArray[np.int64] = (index[..., 0] * self.size[1] + index[..., 1]) * self.size[2] + index[..., 2]
        return cell

    def scores(self, points: Array, normals: Array, turns: Array, shifts: Array, signed: bool) -> Array:
        """Return the share of `points` met at each of (k, 3, 3) turns and (k, 3) shifts."""
        found = np.empty(len(turns))
        block = max(1, 2_000_000 // len(points))
        for start in range(0, len(turns), block):
            rows = slice(start, start + block)
            placed = np.einsum("kij,nj->kni", turns[rows], points) + shifts[rows, None]
            facing = np.einsum("kij,nj->kni", turns[rows].astype(np.float32), normals.astype(np.float32))
            cosine = np.einsum("kni,kni->kn", facing, self.normals[self.near[self._cell(placed)]])
            found[rows] = ((cosine if signed else np.abs(cosine)) > FACING).mean(axis=1)
        return found


def hypotheses(model: Places, scan: Places, voxel_mm: float, signed: bool, seed: int) -> tuple[Array, Array, Array]:
    """Return turns (k, 3, 3), shifts (k, 3) and grid scores (k,), best first."""
    rng = np.random.default_rng(seed)
    on_model, on_scan = alike(model, scan)
    diagonal = float(np.linalg.norm(np.ptp(model.points, axis=0)))
    found = [
        _poses(model, scan, on_model[pair], on_scan[pair], NEAREST_SHARE * diagonal, LENGTH_OFF * voxel_mm, signed)
        for pair in (rng.integers(len(on_model), size=(2, BATCH)) for _ in range(PAIRS // BATCH))
    ]
    turns, shifts = (np.concatenate(each) for each in zip(*found, strict=True))
    grid = Grid(scan.points, scan.normals, voxel_mm)
    for count in (ROUGH, FINE):
        chosen = rng.choice(len(model.points), min(count, len(model.points)), replace=False)
        score = grid.scores(model.points[chosen], model.normals[chosen], turns, shifts, signed)
        best = np.argsort(-score, kind="stable")[:KEPT]
        turns, shifts, score = turns[best], shifts[best], score[best]
    return turns, shifts, score


def _poses(
    model: Places, scan: Places, on_model: NDArray[np.int64], on_scan: NDArray[np.int64],
    least: float, length_off: float, signed: bool,
) -> tuple[Array, Array]:  # fmt: skip
    """Return turns and shifts of the pairs (2, n) that agree in length and angles."""
    (p, q), (a, b) = model.points[on_model], scan.points[on_scan]
    (m, n), (s, t) = model.normals[on_model], scan.normals[on_scan]
    along, across = q - p, b - a
    length, span = np.linalg.norm(along, axis=1), np.linalg.norm(across, axis=1)
    good = np.flatnonzero((length > least) & (np.abs(length - span) < length_off))
    u, w = along[good] / length[good, None], across[good] / span[good, None]
    m, n, s, t = m[good], n[good], s[good], t[good]
    angles = [[_angle(m, u), _angle(n, u), _angle(m, n)], [_angle(s, w), _angle(t, w), _angle(s, t)]]
    agree = (np.abs(np.array(angles[0]) - angles[1]) < ANGLE_OFF).all(axis=0)
    # The pair's own frame: along it, and square to it in the direction of both normals.
    flat = np.linalg.norm(np.cross(m + n, u), axis=1) > 0.3
    keep = agree & flat & (np.linalg.norm(np.cross(s + t, w), axis=1) > SQUARE_LEAST)
    turn = _frame(w[keep], (s + t)[keep]) @ _frame(u[keep], (m + n)[keep]).swapaxes(1, 2)
    middle = (p + q)[good][keep] / 2
    return turn, (a + b)[good][keep] / 2 - np.einsum("kij,kj->ki", turn, middle)


def _angle(a: Array, b: Array) -> Array:
    angle: Array = np.arccos(np.clip((a * b).sum(axis=1), -1, 1))
    return angle


def _frame(x: Array, about: Array) -> Array:
    """Return (k, 3, 3) frames, axes as columns: x, the part of `about` square to it, and the third."""
    y = about - (about * x).sum(axis=1, keepdims=True) * x
    y /= np.linalg.norm(y, axis=1, keepdims=True)
    return np.stack([x, y, np.cross(x, y)], axis=2)
