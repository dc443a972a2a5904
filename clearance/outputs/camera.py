"""A parallel-projection camera: lengths square to the view are true to one scale all over the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from clearance.frames import Array, unit_vector


@dataclass(frozen=True, eq=False, kw_only=True)
class Camera:
    """Looks at `target` along -`toward`.

    Attributes
    ----------
    target : (3,) float64, mm, bay frame: shown in the middle of the picture
    right, up, toward : (3,) float64, unit vectors at right angles; `toward` points from the target to the eye
    mm_per_px : float
    width, height : int, px
    """

    target: Array
    right: Array
    up: Array
    toward: Array
    mm_per_px: float
    width: int
    height: int

    def project(self, points: ArrayLike) -> tuple[Array, Array]:
        """Return pixel places (..., 2) (x right, y down) and depths (...) in mm, growing away from the eye."""
        away = np.asarray(points, np.float64) - self.target
        x = away @ self.right / self.mm_per_px + self.width / 2
        y = self.height / 2 - away @ self.up / self.mm_per_px
        return np.stack([x, y], axis=-1), -(away @ self.toward)

    def enlarged(self, factor: int) -> Camera:
        """Return the same view with `factor` times as many pixels each way."""
        return Camera(
            target=self.target, right=self.right, up=self.up, toward=self.toward,
            mm_per_px=self.mm_per_px / factor, width=self.width * factor, height=self.height * factor,
        )  # fmt: skip


def look(
    *, target: ArrayLike, toward: ArrayLike, up: ArrayLike, width: int, height: int, width_mm: float, height_mm: float
) -> Camera:
    """Build a camera that shows at least `width_mm` x `height_mm` about `target`, with `up` upright where it can be."""
    eye = unit_vector(toward)
    upright = np.asarray(up, np.float64) - (np.asarray(up, np.float64) @ eye) * eye
    if np.linalg.norm(upright) < 1e-3:
        spare = np.eye(3)[int(np.argmin(np.abs(eye)))]
        upright = spare - (spare @ eye) * eye
    upward = unit_vector(upright)
    return Camera(
        target=np.asarray(target, np.float64), right=np.cross(upward, eye), up=upward, toward=eye,
        mm_per_px=max(width_mm / width, height_mm / height, 1e-6), width=width, height=height,
    )  # fmt: skip


def fit(points: Array, *, toward: ArrayLike, up: ArrayLike, width: int, height: int, border: float = 0.08) -> Camera:
    """Build a camera that shows all (n, 3) points with a `border` as share of the picture."""
    rough = look(target=points.mean(axis=0), toward=toward, up=up, width=2, height=2, width_mm=2, height_mm=2)
    flat = np.stack([(points - rough.target) @ rough.right, (points - rough.target) @ rough.up], axis=1)
    low, high = flat.min(axis=0), flat.max(axis=0)
    middle = (low + high) / 2
    size = np.maximum(high - low, 1.0) / (1 - 2 * border)
    target = rough.target + middle[0] * rough.right + middle[1] * rough.up
    return look(
        target=target, toward=toward, up=up, width=width, height=height, width_mm=size[0], height_mm=size[1]
    )  # fmt: skip
