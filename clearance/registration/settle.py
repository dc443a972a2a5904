"""From a first pose to the one that fits best: coarse to fine, then exact steps until nothing moves."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array, Pose, rigid, rotation_about
from clearance.registration.fit_rows import LEAST_POINTS, SCHEDULE, Fit, Near, linearised
from clearance.registration.surface import Surface
from clearance.scene.open3d_import import open3d

COARSE_STEPS = 40
POLISH_STEPS = 30

STILL_MM = 1e-5
"""Largest move of any place of the part at which stepping ends; times the surface's scale."""


def coarse(start: Pose, surface: Surface, near: Near) -> Pose:
    """Run open3d's coarse-to-fine fit of the scan points to samples of the surface."""
    if len(near.points) < LEAST_POINTS:
        return start
    o3d = open3d()
    target = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(surface.samples))
    target.normals = o3d.utility.Vector3dVector(surface.normals)
    pose = start.inverse()
    for distance, width in SCHEDULE:
        source = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(np.ascontiguousarray(pose.apply(near.points))))
        estimate = o3d.pipelines.registration.TransformationEstimationPointToPlane(
            o3d.pipelines.registration.TukeyLoss(k=width * surface.scale)
        )
        criteria = o3d.pipelines.registration.ICPConvergenceCriteria(1e-6, 1e-6, COARSE_STEPS)
        done = o3d.pipelines.registration.registration_icp(
            source, target, distance * surface.scale, np.eye(4), estimate, criteria
        )
        pose = _cleaned(np.asarray(done.transformation)) @ pose
    return pose.inverse()


def polished(pose: Pose, surface: Surface, near: Near, centre: Array) -> tuple[Pose, Fit, float]:
    """Take Gauss-Newton steps against the surface itself; return the pose, its fit and how far the last moved, mm."""
    fit, moved = linearised(pose, surface, near, centre), np.inf
    radius = radius_about(centre, pose, surface)
    for _ in range(POLISH_STEPS):
        if len(fit.points) < LEAST_POINTS or moved <= STILL_MM * surface.scale:
            break
        step = fit.step()
        angle = float(np.linalg.norm(step[:3]))
        moved = float(np.linalg.norm(step[3:])) + radius * angle
        turn = rotation_about(step[:3], angle) if angle > 1e-12 else np.eye(3)
        pose = rigid("bay", "bay", turn, centre + step[3:] - turn @ centre) @ pose
        fit = linearised(pose, surface, near, centre)
    return pose, fit, moved


def radius_about(centre: Array, pose: Pose, surface: Surface) -> float:
    """Return how far, mm, the part reaches from `centre` (bay)."""
    return float(np.linalg.norm(pose.apply(surface.outline) - centre, axis=1).max())


def _cleaned(matrix: Array) -> Pose:
    """Return the nearest proper rotation with the translation."""
    left, _, right = np.linalg.svd(matrix[:3, :3])
    return rigid("part", "part", left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right, matrix[:3, 3])
