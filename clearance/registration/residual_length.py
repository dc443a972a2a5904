"""How far errors of a scan go together, from what a fit leaves over."""

from __future__ import annotations

import numpy as np
from scipy.spatial.distance import pdist

from clearance.frames import Array
from clearance.registration.cloud import SEED

MOST_POINTS = 2000
"""Points compared with each other, drawn at random (seeded)."""

SHELL_MM, SHELLS = 5.0, 12
"""Width and number of the shells of distance over which products of residuals are averaged."""


def residual_length(points: Array, residuals: Array, scale: float) -> float:
    """Return the integral of the residuals' correlation over distance, mm at `scale` 1.

    Summed over shells of `SHELL_MM` times `scale` up to the first that is not positive. White errors give
    nearly 0; a correlation exp(-d^2 / 2 L^2) gives 1.25 L, less what the fit itself takes up.

    Parameters
    ----------
    points : (n, 3) float64, mm
    residuals : (n,) float64, mm
    """
    drawn = np.random.default_rng(SEED).choice(len(points), min(MOST_POINTS, len(points)), replace=False)
    first, second = np.triu_indices(len(drawn), 1)
    values = residuals[drawn]
    square = float((values**2).mean())
    shell = (pdist(points[drawn] / scale) / SHELL_MM).astype(np.int64)
    near = shell < SHELLS
    if square == 0.0 or not near.any():
        return 0.0
    pairs = np.bincount(shell[near], minlength=SHELLS)
    products = np.bincount(shell[near], values[first[near]] * values[second[near]], SHELLS)
    together = products / np.maximum(pairs, 1) / square
    end = int(np.argmax(together <= 0)) if (together <= 0).any() else SHELLS
    return float(together[:end].sum() * SHELL_MM)
