"""Measured noise of a scan: 1 sigma of its points about a smooth surface through their neighbours.

Errors that vary slowly over a patch (a warped or smoothed scan) do not show here; those belong to
the scanner's stated accuracy.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import chi2

from clearance.frames import Array
from clearance.scene.neighbours import Neighbours

PATCHES = 4000
"""Patches looked at, spread over the scan."""

PATCH_POINTS = (24, 96, 384)
"""Points in a patch; the next size is taken while the patch is not wide against the noise."""

WIDE = 8.0
"""A patch's radius must be this many sigma, else picking the nearest points hides the noise."""

SURFACE_TERMS = 6
"""Parameters of the quadratic surface fitted to a patch, taken off its degrees of freedom."""


def measure_noise(points: Array) -> float:
    """Return 1 sigma, mm, of (n, 3) points about the surface they were taken from.

    A quadratic surface is fitted over the tangent plane of each patch of k points. Its squared
    residuals sum to sigma^2 chi^2(k - 6) for white noise, so the median over all patches, divided by
    the median of chi^2(k - 6), gives sigma^2 and leaves edges, corners and strays (fewer than
    half the patches) out of account. Returns 0 for fewer than 24 points.
    """
    sigma = 0.0
    if len(points) < PATCH_POINTS[0]:
        return sigma
    tree = Neighbours(points)
    centres = points[:: max(1, len(points) // PATCHES)]
    for k in PATCH_POINTS:
        if k > len(points):
            break
        distance, index = tree.nearest(centres, k)
        squares = _squared_residuals(points[index])
        freedom = k - SURFACE_TERMS
        sigma = float(np.sqrt(np.median(squares) / chi2.median(freedom)))
        if np.median(distance[:, -1]) >= WIDE * sigma:
            break
    return sigma


def _squared_residuals(patches: Array) -> Array:
    """Return for each of (m, k, 3) patches the sum of squared residuals about its quadratic surface."""
    centred = patches - patches.mean(axis=1, keepdims=True)
    _, axes = np.linalg.eigh(np.einsum("mki,mkj->mij", centred, centred))
    local = centred @ axes  # columns: normal, then the two tangents
    size = np.maximum(np.abs(local).max(axis=(1, 2)), 1e-12)[:, None]
    h, u, v = local[..., 0], local[..., 1] / size, local[..., 2] / size
    terms = np.stack([np.ones_like(u), u, v, u * u, u * v, v * v], axis=2)
    basis, _ = np.linalg.qr(terms)
    explained = np.einsum("mkt,mk->mt", basis, h)
    squares: Array = np.maximum((h * h).sum(axis=1) - (explained * explained).sum(axis=1), 0.0)
    return squares
