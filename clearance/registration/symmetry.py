"""Turns that bring a model onto itself, wholly or nearly: where it may be taken for itself the other way round."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from clearance.frames import Array, Pose, rigid, rotation_about
from clearance.registration.shape_hypotheses import Places
from clearance.scene.open3d_import import open3d

DEGREES = (180, 90, 270, 120, 240, 60, 300)
COVERED = 0.6
"""Share of the model's places that must find the model again after the turn."""

ALONG = float(np.cos(np.radians(35.0)))
STEPS = 30


def self_symmetries(model: Places, voxel_mm: float) -> tuple[Pose, ...]:
    """Return the motions T_part_part, identity left out, after which the model meets itself.

    Tried are turns about the principal axes of its places, each settled by a point-to-plane fit of
    the model to itself. A place is met if a place of the turned model lies within 1.5 voxels, its
    plane within half a voxel, and their normals within 35 degrees (either sign).
    """
    middle = model.points.mean(axis=0)
    _, _, axes = np.linalg.svd(model.points - middle, full_matrices=False)
    found: list[Pose] = []
    for axis in axes:
        for degrees in DEGREES:
            turn = rotation_about(axis, np.radians(degrees))
            pose = _settled(model, rigid("part", "part", turn, middle - turn @ middle), voxel_mm)
            new = all(_apart(pose, other, model.points) > voxel_mm for other in found)
            moves = float(np.linalg.norm(pose.apply(model.points) - model.points, axis=1).max())
            if new and moves > 5 * voxel_mm and _coverage(model, pose, voxel_mm) > COVERED:
                found.append(pose)
    return tuple(found)


def _settled(model: Places, pose: Pose, voxel_mm: float) -> Pose:
    o3d = open3d()
    registration = o3d.pipelines.registration
    cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(np.ascontiguousarray(model.points)))
    cloud.normals = o3d.utility.Vector3dVector(np.ascontiguousarray(model.normals))
    estimate = registration.TransformationEstimationPointToPlane(registration.TukeyLoss(k=1.5 * voxel_mm))
    criteria = registration.ICPConvergenceCriteria(1e-6, 1e-6, STEPS)
    done = registration.registration_icp(cloud, cloud, 3 * voxel_mm, pose.matrix, estimate, criteria)
    matrix = np.asarray(done.transformation)
    left, _, right = np.linalg.svd(matrix[:3, :3])
    return rigid("part", "part", left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right, matrix[:3, 3])


def _coverage(model: Places, pose: Pose, voxel_mm: float) -> float:
    placed, turned = pose.apply(model.points), model.normals @ pose.rotation.T
    distance, index = cKDTree(model.points).query(placed, distance_upper_bound=1.5 * voxel_mm)
    near, index = np.flatnonzero(np.isfinite(distance)), np.asarray(index, np.int64)
    there = model.normals[index[near]]
    across = np.abs(((placed[near] - model.points[index[near]]) * there).sum(axis=1))
    met = (across < 0.5 * voxel_mm) & (np.abs((turned[near] * there).sum(axis=1)) > ALONG)
    return float(met.sum() / len(placed))


def _apart(one: Pose, other: Pose, points: Array) -> float:
    return float(np.linalg.norm(one.apply(points) - other.apply(points), axis=1).max())
