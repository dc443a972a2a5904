"""Rigid poses that know both their frames: `T_bay_part` maps part points into the bay.

Column vectors, right-handed. In a product the inner names must match.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

RIGID_TOLERANCE = 1e-6
"""Largest departure of R.T @ R from identity that still counts as a rotation."""


@dataclass(frozen=True, eq=False)
class Pose:
    """Rigid motion `T_<to>_<source>`, mm.

    Attributes
    ----------
    to, source : str
        Frame mapped into, frame mapped from.
    matrix : (4, 4) float64
        Homogeneous matrix, translation in mm.

    Raises
    ------
    ValueError
        If the matrix is not a proper rigid motion.
    """

    to: str
    source: str
    matrix: Array

    def __post_init__(self) -> None:
        m = np.array(self.matrix, dtype=np.float64)
        if m.shape != (4, 4) or not np.isfinite(m).all():
            raise ValueError("a pose needs 4 x 4 finite numbers")
        r = m[:3, :3]
        if not np.allclose(m[3], (0, 0, 0, 1), rtol=0, atol=RIGID_TOLERANCE):
            raise ValueError("the last row of a pose must be 0 0 0 1")
        if not np.allclose(r.T @ r, np.eye(3), rtol=0, atol=RIGID_TOLERANCE):
            raise ValueError("the rotation columns of a pose must be unit length and at right angles")
        if np.linalg.det(r) < 0:
            raise ValueError("a pose must not mirror (determinant -1)")
        m.flags.writeable = False
        object.__setattr__(self, "matrix", m)

    @property
    def rotation(self) -> Array:
        """(3, 3) rotation."""
        return self.matrix[:3, :3]

    @property
    def translation(self) -> Array:
        """(3,) translation, mm, in frame `to`."""
        return self.matrix[:3, 3]

    def apply(self, points: ArrayLike) -> Array:
        """Map (..., 3) points from frame `source` into frame `to`, mm."""
        mapped: Array = np.asarray(points, dtype=np.float64) @ self.rotation.T + self.translation
        return mapped

    def inverse(self) -> Pose:
        """Return `T_<source>_<to>`."""
        return rigid(self.source, self.to, self.rotation.T, -self.rotation.T @ self.translation)

    def __matmul__(self, other: Pose) -> Pose:
        if self.source != other.to:
            raise ValueError(f"T_{self.to}_{self.source} @ T_{other.to}_{other.source}: inner frames differ")
        return Pose(self.to, other.source, self.matrix @ other.matrix)


def rigid(to: str, source: str, rotation: ArrayLike, translation: ArrayLike) -> Pose:
    """Build a pose from a (3, 3) rotation and a (3,) translation in mm."""
    matrix = np.eye(4)
    matrix[:3, :3] = rotation
    matrix[:3, 3] = translation
    return Pose(to, source, matrix)


def identity(to: str, source: str) -> Pose:
    """Return the pose that leaves coordinates as they are."""
    return Pose(to, source, np.eye(4))


def rotation_about(direction: ArrayLike, angle_rad: float) -> Array:
    """Return the (3, 3) right-handed rotation by `angle_rad` about `direction` (any length).

    Rodrigues' formula: R = I + sin(a) K + (1 - cos(a)) K^2.
    """
    k = unit_vector(direction)
    cross = np.array([[0, -k[2], k[1]], [k[2], 0, -k[0]], [-k[1], k[0], 0]])
    rotation: Array = np.eye(3) + np.sin(angle_rad) * cross + 2 * np.sin(angle_rad / 2) ** 2 * (cross @ cross)
    return rotation


def turn_about(to: str, source: str, point: ArrayLike, direction: ArrayLike, angle_rad: float) -> Pose:
    """Return the turn by `angle_rad` about the line through `point` (mm) along `direction`."""
    p = np.asarray(point, dtype=np.float64)
    rotation = rotation_about(direction, angle_rad)
    return rigid(to, source, rotation, p - rotation @ p)


def unit_vector(direction: ArrayLike) -> Array:
    """Return `direction` scaled to length 1. Raises ValueError for a zero or non-finite vector."""
    v = np.asarray(direction, dtype=np.float64)
    length = float(np.linalg.norm(v))
    if not np.isfinite(length) or length < 1e-12:
        raise ValueError("a direction must not be zero")
    unit: Array = v / length
    return unit
