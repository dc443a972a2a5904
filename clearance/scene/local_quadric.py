"""A quadratic surface through each of many small patches of points at once, and whether it describes them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array

TERMS = 6
"""Parameters: height, two slopes, three curvatures."""

SAG = 2.0
"""A patch is trimmed to where its surface falls off the tangent plane by no more than this many sigma."""

SAG_LEFT = 1.5
"""After trimming it may still fall by this many times more."""

TRIMS = 4
TUKEY = 4.685
"""Sigma beyond which Tukey's biweight leaves a point out: 95 % efficiency under Gaussian noise."""

SUSPECT = 3.5
"""Patches with a residual beyond this many sigma are fitted again with Tukey's weights."""

WIDER = (3.0, 1.5, 1.0, 1.0)
"""Multiples of `TUKEY` used in turn, from a fit that outliers have pulled to one they have not."""

LEAST_POINTS = 12
LEAST_SHARE = 0.95
"""Share of the patch, less two points at most, that must lie within `TUKEY` sigma."""

LEVERAGE = 0.36
"""Largest variance of the fitted height over sigma^2: 0.6 sigma. More means too few points or none on one side."""

EXCESS = 4.5
"""Standard deviations by which the residual root mean square may exceed that of noise."""

STEEPEST = 1.2
"""Slope against the tangent plane beyond which height is no measure of distance."""

MIDDLE, MIDDLE_SIGMA = 9, 1.5
"""The mean residual of so many nearest points may be so many sigma."""

WIDE = 1.6
"""Sigma by which a patch must spread, root mean square, in its narrower direction: less is a row or lost in noise."""

Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Quadrics:
    """Surfaces of b patches, seen from the point each patch is about.

    Attributes
    ----------
    height : (b,) float64, mm
        From the point to the surface, along `normal`.
    normal : (b, 3) float64, unit
    determined : (b,) bool
        Enough points all round, nearly all of them within reach of the surface.
    smooth : (b,) bool
        The residuals are those of noise and the patch is gently curved.
    """

    height: Array
    normal: Array
    determined: Flags
    smooth: Flags


def fit_quadrics(patches: Array, noise_mm: float) -> Quadrics:
    """Fit h = b0 + b1 u + b2 v + b3 u^2 + b4 u v + b5 v^2 over the tangent plane of each patch.

    Parameters
    ----------
    patches : (b, k, 3) float64, mm
        The nearest neighbours of a point, seen from it, nearest first.
    noise_mm : float
        1 sigma, > 0.

    Notes
    -----
    The patch is trimmed to |h(u, v)| <= 2 sigma in the absolute value of the fitted quadratic form, a strip
    along an edge or rod, a disc on a ball. Of a ridge |v| the least-squares quadratic over -1..1 is
    3/16 + 15/16 v^2, and of every symmetric convex profile, a sum of (|v| - a)+, the height at the middle is
    at most a fifth of the quadratic part; so a crest is cut by at most 0.2 x 3 sigma = 0.6 sigma
    where a patch is evenly filled.
    """
    tangent, height, normal, wide = _local(patches, noise_mm)
    size = np.maximum(np.sqrt((tangent**2).sum(axis=1).max(axis=1)), 1e-12)
    u, v = (tangent / size[:, None, None]).transpose(1, 0, 2)
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=1)
    keep = np.ones(height.shape, dtype=bool)
    inverse, beta, residual = _solve(terms, height, keep)
    fall = _fall(beta, terms)
    for _ in range(TRIMS):
        far = np.flatnonzero((fall * keep).max(axis=1) > SAG * SAG_LEFT * noise_mm)
        if not len(far):
            break
        keep[far] &= fall[far] <= SAG * noise_mm
        inverse[far], beta[far], residual[far] = _solve(terms[far], height[far], keep[far])
        fall[far] = _fall(beta[far], terms[far])
    odd = np.flatnonzero((np.abs(residual) * keep).max(axis=1) > SUSPECT * noise_mm)
    for wider in WIDER if len(odd) else ():
        weight = keep[odd] * np.maximum(1.0 - (residual[odd] / (TUKEY * wider * noise_mm)) ** 2, 0.0) ** 2
        inverse[odd], beta[odd], residual[odd] = _solve(terms[odd], height[odd], weight)
    fits = keep & (np.abs(residual) < TUKEY * noise_mm)
    count, wanted = fits.sum(axis=1), keep.sum(axis=1)
    determined = (
        wide
        & (count >= np.maximum(LEAST_POINTS, wanted - np.maximum(2, (1 - LEAST_SHARE) * wanted)))
        & (inverse[:, 0, 0] < LEVERAGE)
    )
    gentle = (_fall(beta, terms) * keep).max(axis=1) <= SAG * SAG_LEFT * noise_mm
    gentle &= _steepest(beta, terms, keep) < STEEPEST * size
    return Quadrics(beta[:, 0], normal, determined, gentle & _noise_only(residual, fits, noise_mm))


def _local(patches: Array, noise_mm: float) -> tuple[Array, Array, Array, Flags]:
    """Return (b, 2, k) coordinates in the tangent plane, (b, k) heights, (b, 3) normals and which are wide."""
    centred: Array = patches - patches.mean(axis=1, keepdims=True)
    spread, axes = np.linalg.eigh(centred.transpose(0, 2, 1) @ centred)
    local = np.ascontiguousarray((patches @ axes).transpose(0, 2, 1))
    wide: Flags = spread[:, 1] > patches.shape[1] * (WIDE * noise_mm) ** 2
    normal: Array = axes[:, :, 0]
    return local[:, 1:], local[:, 0], normal, wide


def _solve(terms: Array, height: Array, weight: Array | Flags) -> tuple[Array, Array, Array]:
    """Return inverse normal matrices (b, 6, 6), parameters (b, 6) and residuals (b, k) of weighted least squares."""
    weighted: Array = terms * weight[:, None]
    normal: Array = weighted @ terms.transpose(0, 2, 1)
    normal[:, range(TERMS), range(TERMS)] += 1e-9  # lets what is not determined show as a huge leverage
    inverse = np.linalg.inv(normal).astype(np.float64, copy=False)
    beta: Array = (inverse @ (weighted @ height[:, :, None]))[:, :, 0]
    return inverse, beta, height - (beta[:, None] @ terms)[:, 0]


def _fall(beta: Array, terms: Array) -> Array:
    """Return (b, k) the fitted quadratic form with both curvatures taken positive: |M| = (M^2 + |det M|) / tr |M|."""
    a, b, c = beta[:, 3], beta[:, 4] / 2, beta[:, 5]
    det = np.abs(a * c - b * b)
    trace = np.maximum(np.maximum(np.abs(a + c), 2 * np.hypot((a - c) / 2, b)), 1e-12)
    form = np.stack([a * a + b * b + det, 2 * b * (a + c), c * c + b * b + det], axis=1) / trace[:, None]
    fall: Array = (form[:, None] @ terms[:, 3:])[:, 0]
    return fall


def _steepest(beta: Array, terms: Array, keep: Flags) -> Array:
    u, v = terms[:, 1], terms[:, 2]
    along_u = beta[:, 1:2] + 2 * beta[:, 3:4] * u + beta[:, 4:5] * v
    along_v = beta[:, 2:3] + beta[:, 4:5] * u + 2 * beta[:, 5:6] * v
    steepest: Array = (np.hypot(along_u, along_v) * keep).max(axis=1)
    return steepest


def _noise_only(residual: Array, fits: Flags, noise_mm: float) -> Flags:
    """Tell where residuals are no larger than noise explains, over the patch and in its middle."""
    freedom = np.maximum(fits.sum(axis=1) - TERMS, 1)
    variance = (residual**2 * fits).sum(axis=1) / freedom
    middle = fits[:, :MIDDLE]
    mean = (residual[:, :MIDDLE] * middle).sum(axis=1) / np.maximum(middle.sum(axis=1), 1)
    alike: Flags = variance < (noise_mm * (1.0 + EXCESS / np.sqrt(2.0 * freedom))) ** 2
    level: Flags = np.abs(mean) < MIDDLE_SIGMA * noise_mm
    return alike & level
