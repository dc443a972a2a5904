"""How well the scan bears out a pose of the model: settled a little, then scored place by place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array, Pose, rigid
from clearance.registration.shape_hypotheses import Places
from clearance.registration.shape_region import Looked
from clearance.scene.open3d_import import open3d

STAGES = ((4.0, 1.7), (2.0, 0.85), (1.0, 0.5))
"""Correspondence distance and Tukey width of each stage, in voxels."""

STEPS = 30
SCORED = 4_000
"""Places of the model scored, every so many-th."""

MET_VOXELS = 0.45
"""A place is met by a scan point this near, in voxels: 2.5 mm for a part 550 mm across."""

ALONG = float(np.cos(np.radians(35.0)))
"""Cosine between the normals of the model and of the scan above which a place is met."""

SAME_DEGREES, SAME_SHARE = 2.0, 0.01
"""Poses less far apart are one: turn, and shift of the model's middle as a share of its diagonal (5 mm of 500)."""


@dataclass(frozen=True, eq=False)
class Scored:
    """A pose with what the scan says of it.

    Attributes
    ----------
    pose : Pose, T_bay_part
    score : share of the scored places that are met
    met, empty : (m,) bool; the place has a scan point on it, or lies where a station saw past it
    votes : how many first poses ended here
    """

    pose: Pose
    score: float
    met: NDArray[np.bool_]
    empty: NDArray[np.bool_]
    votes: int = 1

    @property
    def contradicted(self) -> float:
        """Share of the places where a station saw nothing, of those it could judge."""
        return float((self.empty & ~self.met).mean())


class Judge:
    """Settles and scores poses of a model in a region."""

    def __init__(self, points: Array, normals: Array, places: Places, scan: Places, looked: Looked, signed: bool,
                 voxel_mm: float) -> None:  # fmt: skip
        step = max(1, len(points) // SCORED)
        self.points, self.normals = points[::step], normals[::step]
        self._looked, self._signed, self._voxel = looked, signed, voxel_mm
        o3d = open3d()
        self._source = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(places.points))
        self._target = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(scan.points))
        self._target.normals = o3d.utility.Vector3dVector(scan.normals)
        self.middle = (points.min(axis=0) + points.max(axis=0)) / 2
        self._same_mm = SAME_SHARE * float(np.linalg.norm(np.ptp(points, axis=0)))

    def settled(self, pose: Pose) -> Pose:
        """Return `pose` after a light point-to-plane fit of the model's places to the region's."""
        registration = open3d().pipelines.registration
        matrix = pose.matrix
        for distance, width in STAGES:
            loss = registration.TukeyLoss(k=width * self._voxel)
            matrix = registration.registration_icp(
                self._source, self._target, distance * self._voxel, matrix,
                registration.TransformationEstimationPointToPlane(loss),
                registration.ICPConvergenceCriteria(1e-6, 1e-6, STEPS),
            ).transformation  # fmt: skip
        left, _, right = np.linalg.svd(np.asarray(matrix)[:3, :3])
        turn = left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right
        return rigid(pose.to, pose.source, turn, np.asarray(matrix)[:3, 3])

    def scored(self, pose: Pose) -> Scored:
        """Return what the scan says of `pose`."""
        placed = pose.apply(self.points)
        distance, index = self._looked.tree.query(placed, distance_upper_bound=MET_VOXELS * self._voxel)
        found, index = np.isfinite(distance), np.asarray(index, np.int64)
        cosine = np.zeros(len(placed))
        cosine[found] = (self._looked.normals[index[found]] * (self.normals[found] @ pose.rotation.T)).sum(axis=1)
        met = (cosine if self._signed else np.abs(cosine)) > ALONG
        return Scored(pose, float(met.mean()), met, self._looked.empty.holds(placed))

    def same(self, one: Pose, other: Pose) -> bool:
        """Tell whether two poses are one."""
        cosine = (np.trace(one.rotation.T @ other.rotation) - 1) / 2
        apart = np.linalg.norm(one.apply(self.middle) - other.apply(self.middle))
        return bool(cosine > np.cos(np.radians(SAME_DEGREES)) and apart < self._same_mm)

    def gathered(self, found: list[Scored]) -> list[Scored]:
        """Return the best of each group of poses that are one, best first, with the group's votes."""
        groups: list[Scored] = []
        for each in sorted(found, key=lambda scored: -scored.score):
            at = next((i for i, group in enumerate(groups) if self.same(each.pose, group.pose)), None)
            if at is None:
                groups.append(each)
            else:
                groups[at] = replace(groups[at], votes=groups[at].votes + each.votes)
        return groups
