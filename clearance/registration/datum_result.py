"""A datum of the bay as the scan shows it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.scene.mesh import IntArray

PATCHES_MM = (10.0, 20.0, 50.0)
"""Scan errors go together over distances like these: the points of one patch count as one, or share their error."""

LEAST_PATCHES = 6
WIDEN = 2.0
"""Residuals cannot show warps of the scan longer than the feature: sigmas are widened by this.

In a trial with synthetic scans whose whole noise went together over 5, 15 or 40 mm the sigmas so widened of a stud
30 mm long were still low by 1.2 to 2.1, those of a face 80 mm across held at 5 mm and were low by 1.3 at 15 mm and
3.3 at 40 mm: warps as long as the feature belong to the scanner's stated accuracy.
"""

FORM_MM = 0.05
"""1 sigma of what a machined feature differs from its ideal shape and stated place (common practice)."""


@dataclass(frozen=True, eq=False, kw_only=True)
class FittedDatum:
    """A bay datum fitted to the scan, or taken as stated.

    Attributes
    ----------
    name : str
    place : (3,) float64, mm, bay frame
        Centroid of the face's points; point of the axis or of the edge.
    direction : (3,) float64, unit, bay frame
        Normal of the face, out of the material; axis; direction of the edge.
    covariance : (6, 6) float64
        Of small errors of place (mm) and of direction (rad). The errors a datum cannot have are zero:
        place along a face, or along an axis or edge; direction along itself.
    count : int
        Scan points used; 0 where taken as stated.
    rms_mm : float or None
        Root mean square of the residuals; None where taken as stated.
    note : str
        One plain sentence for the report.
    """

    name: str
    place: Array
    direction: Array
    covariance: Array
    count: int = 0
    rms_mm: float | None = None
    note: str = ""


def across(direction: Array) -> Array:
    """Return two unit vectors, (2, 3), at right angles to each other and to the unit vector `direction`."""
    other = np.eye(3)[int(np.abs(direction).argmin())]
    first = np.cross(direction, other)
    first /= np.linalg.norm(first)
    return np.stack([first, np.cross(direction, first)])


def patch_covariance(rows: Array, residuals: Array, weights: Array, points: Array) -> Array:
    """Return the (k, k) covariance of a weighted linear fit whose errors go together over patches of the surface.

    The larger, as seen at the points, of two: (a) the share of the variance that nearest neighbours
    have in common is that of one independent error per occupied 10 mm cube, the rest is each point's
    own; (b) the scatter of the patches' own pulls, H^-1 (sum g g^T) H^-1 B / (B - 1) (Liang and Zeger
    1986, Biometrika 73(1):13-22, from memory), for every patch size that gives `LEAST_PATCHES` or
    more. Widened by `WIDEN`.

    Parameters
    ----------
    rows : (n, k) float64
        d(residual) / d(parameter).
    residuals, weights : (n,) float64
    points : (n, 3) float64, mm
    """
    stiffness = (rows * weights[:, None]).T @ rows
    inverse = np.linalg.inv(stiffness)
    variance = float((weights * residuals**2).sum() / weights.sum())
    patches = int(_patches(points, PATCHES_MM[0]).max()) + 1
    together = _going_together(residuals, points)
    alone = 1 - together + together * weights.sum() / max(patches - rows.shape[1], 1)
    covariances = [inverse * variance * max(alone, 1.0)]
    pulls = rows * (weights * residuals)[:, None]
    for size in PATCHES_MM:
        patch = _patches(points, size)
        count = int(patch.max()) + 1
        if count >= LEAST_PATCHES:
            sums = np.zeros((count, rows.shape[1]))
            np.add.at(sums, patch, pulls)
            covariances.append(inverse @ sums.T @ sums @ inverse * count / (count - 1))
    widest = max(covariances, key=lambda c: float(np.trace(stiffness @ c)))
    return np.asarray(widest * WIDEN**2, np.float64)


def _going_together(residuals: Array, points: Array) -> float:
    """Return the share of the residuals' variance that nearest neighbours have in common, with two sigmas of doubt."""
    nearest = np.asarray(cKDTree(points).query(points, k=[2])[1])[:, 0]
    squares = float((residuals**2).mean())
    shared = float((residuals * residuals[nearest]).mean()) / squares if squares > 0 else 0.0
    return float(np.clip(shared + 2 / np.sqrt(len(points)), 0.0, 1.0))


def _patches(points: Array, size: float) -> IntArray:
    cubes = np.floor((points - points.mean(axis=0)) / size).astype(np.int64)
    return np.ravel(np.unique(cubes, axis=0, return_inverse=True)[1]).astype(np.int64)
