"""How sure a cylinder through scan points is: errors of a scan go together over patches of the surface.

Parameters everywhere: offset of the axis across itself (2, mm), its tilt (2, rad), the radius (mm).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.neighbours import Neighbours

PATCHES_MM = (10.0, 20.0, 40.0)
"""Sides of the patches of the surface over which errors are let go together (warp, registration of the stations)."""

LEAST_PATCHES = 12
WIDEN = 1.5
"""Factor on the sigmas so found: few patches show less than the whole scatter.

In trials (a shaft 30 mm across, 200 mm long, 70 to 180 degrees seen, a tenth of the points strewn, a plate beside it)
the surface's worst error over its sigma came out at 0.8 to 1.1 rms for white noise, 0.3 to 0.9 for warped scans.
"""

ROUNDNESS = 0.0015
"""1 sigma of each term of an oval, as a share of the radius.

Drawn tube of 30 mm is held to about 0.08 mm either way in diameter, out of round included: at most 0.04 mm in a term,
0.27 % of the radius (from memory: EN 10305-1; common practice for turned and drawn shafts).
"""


def covariance_of(along: Array, outward: Array, residual: Array, weights: Array, radius: float) -> Array:
    """Return the (5, 5) covariance of a cylinder fitted with weights.

    The largest, as seen at the surface, of (a) that of noise of which the share that nearest neighbours
    have in common goes together over patches of pi (10 mm)^2, and (b) the scatter of the pulls of
    patches, H^-1 (sum g g^T) H^-1 B / (B - 1) (Liang and Zeger 1986, Biometrika 73(1):13-22, from
    memory), for every patch size that gives `LEAST_PATCHES`; widened by `WIDEN`.

    Parameters
    ----------
    along, residual, weights : (n,) float64
        Place along the axis, distance from the surface, mm, and weight of each point.
    outward : (n, 2) float64
        Unit vector from the axis to each point, across the axis.
    radius : float
        mm.
    """
    used = weights > 0
    along, outward, residual, weights = along[used], outward[used], residual[used], weights[used]
    rows = np.column_stack([-outward, -outward * along[:, None], -np.ones(len(along))])
    inverse = np.linalg.inv((rows * weights[:, None]).T @ rows)
    pulls = rows * (weights * residual)[:, None]
    on_surface = np.column_stack([along, radius * outward])
    together = _going_together(residual, on_surface)
    _, patches = _patches(along, outward, radius, PATCHES_MM[0])
    alone = 1 - together + together * weights.sum() / max(patches / np.pi - 5, 1.0)
    found = [inverse * float((weights * residual**2).sum() / weights.sum()) * max(alone, 1.0)]
    for size in PATCHES_MM:
        label, count = _patches(along, outward, radius, size)
        if count >= LEAST_PATCHES:
            sums = np.zeros((count, 5))
            np.add.at(sums, label, pulls)
            found.append(inverse @ sums.T @ sums @ inverse * count / (count - 1))
    ends = np.array([along.min(), along.max()])
    widest: Array = max(found, key=lambda c: worst_sigma(c, ends)) * WIDEN**2
    return widest


def unround(along: Array, outward: Array, residual: Array, weights: Array, radius: float) -> tuple[float, float, float]:
    """Return how far an oval shaft may stand outside the round cylinder fitted to the side that was seen.

    An oval adds terms in cos 2a and sin 2a of the place a around the axis. Within the seen arc the cylinder's own five
    parameters take up nearly all of it, and the unseen side is then wrong by many times its size. Parameters as in
    `covariance_of`, whose patches give the scatter.

    Returns
    -------
    sigma : float
        1 sigma of the surface where that is worst, mm, if both terms have `ROUNDNESS` of the radius as theirs.
    error : float
        By how much the surface is wrong where that is worst, mm, if the terms are those that the residuals ask for.
    sigmas : float
        Those terms over their standard errors together (root of Wald's statistic).
    """
    used = weights > 0
    along, outward, residual, weights = along[used], outward[used], residual[used], weights[used]
    five = np.column_stack([outward, outward * along[:, None], np.ones(len(along))])
    weighted = five * weights[:, None]
    taken_up = np.linalg.pinv(weighted.T @ five) @ weighted.T @ _twice(outward)
    angle = np.radians(np.arange(0.0, 360.0, 2.0))
    around = np.column_stack([np.cos(angle), np.sin(angle)])
    wrong = np.vstack([
        _twice(around) - np.column_stack([around, around * end, np.ones(len(around))]) @ taken_up
        for end in (along.min(), along.max())
    ])  # fmt: skip
    rows = np.column_stack([five, _twice(outward)])
    inverse = np.linalg.pinv((rows * weights[:, None]).T @ rows)
    step = inverse @ rows.T @ (weights * residual)
    pulls = rows * (weights * (residual - rows @ step))[:, None]
    surest = list[float]()
    for size in PATCHES_MM:
        label, count = _patches(along, outward, radius, size)
        if count >= LEAST_PATCHES:
            sums = np.zeros((count, 7))
            np.add.at(sums, label, pulls)
            scatter = WIDEN**2 * (inverse @ sums.T @ sums @ inverse)[5:, 5:] * count / (count - 1)
            surest.append(float(step[5:] @ np.linalg.pinv(scatter) @ step[5:]))
    sigma = ROUNDNESS * radius * float(np.linalg.norm(wrong, axis=1).max())
    return sigma, float(np.abs(wrong @ step[5:]).max()), float(np.sqrt(min(surest, default=0.0)))


def _twice(outward: Array) -> Array:
    """Return cos 2a and sin 2a (n, 2) of directions (n, 2) at an angle a."""
    return np.column_stack([outward[:, 0] ** 2 - outward[:, 1] ** 2, 2 * outward[:, 0] * outward[:, 1]])


def _going_together(residual: Array, points: Array) -> float:
    """Return the share of the residuals' variance that nearest neighbours have in common, 0 within its own scatter."""
    nearest = Neighbours(points).nearest(points, 2)[1][:, 1]
    squares = float((residual**2).mean())
    shared = float((residual * residual[nearest]).mean()) / squares if squares > 0 else 0.0
    return min(shared, 1.0) if shared > 2 / np.sqrt(len(points)) else 0.0


def axis_covariance(covariance: Array, along: float) -> Array:
    """Return the (2, 2) covariance of the axis across itself at a place along it."""
    to_place = np.hstack([np.eye(2), along * np.eye(2), np.zeros((2, 1))])
    return np.asarray(to_place @ covariance @ to_place.T, np.float64)


def surface_variance(covariance: Array, along: Array, outward: Array) -> Array:
    """Return the variance (n,) of the surface's place, outward, at places along and directions around the axis."""
    rows = np.column_stack([outward, outward * along[:, None], np.ones(len(along))])
    variance: Array = np.maximum(np.einsum("ni,ij,nj->n", rows, covariance, rows), 0.0)
    return variance


def worst_sigma(covariance: Array, ends: Array) -> float:
    """Return 1 sigma of the surface's place where it is largest; it is convex along the axis, so at an end."""
    angle = np.radians(np.arange(0.0, 360.0, 2.0))
    around = np.column_stack([np.cos(angle), np.sin(angle)])
    worst = max(float(surface_variance(covariance, np.full(len(around), end), around).max()) for end in ends)
    return float(np.sqrt(worst))


def _patches(along: Array, outward: Array, radius: float, side_mm: float) -> tuple[NDArray[np.int64], int]:
    """Number (n,) the patches of the surface that points lie in, 0 to count - 1."""
    around = radius * np.arctan2(outward[:, 1], outward[:, 0])
    cells = np.floor(np.stack([along, around], axis=1) / side_mm).astype(np.int64)
    _, label = np.unique(cells, axis=0, return_inverse=True)
    label = np.ravel(label)
    return label, int(label.max()) + 1
