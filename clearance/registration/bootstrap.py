"""How sure a fit is: blocks of the scan redrawn, so that errors that go together are counted together."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array
from clearance.registration.cloud import SEED
from clearance.registration.fit_rows import Fit
from clearance.registration.residual_length import residual_length
from clearance.scene.mesh import IntArray

BLOCKS_MM = (20.0, 50.0, 100.0)
LEAST_BLOCKS = 6
DRAWS = 200

WIDEN_WHITE, WIDEN_LONG, LONG_MM = 1.3, 2.4, 8.0
"""Residuals cannot show warps of the scan longer than a block: bootstrap sigmas are widened.

By the first factor where residuals are white, by the second where their correlation sums up to `LONG_MM` or more
(`residual_length`), in between in proportion. Without it they are low by up to 1.3 where scan errors go together over
5 mm, 1.6 over 15 mm and 2.3 over 40 mm (scripts/error_bars.py); white noise on top hides part of that length, hence
so short a one. Longer warps belong to the scanner's stated accuracy.
"""


def block_count(points: Array, scale: float) -> int:
    """Return how many of the smallest blocks hold (n, 3) points, mm."""
    return int(_blocks(points, BLOCKS_MM[0] * scale).max()) + 1 if len(points) else 0


def covariance(fit: Fit, radius_mm: float, scale: float) -> Array:
    """Return the (6, 6) covariance, turns first: blocks redrawn with replacement, the largest over block sizes.

    Largest is judged with turns counted at `radius_mm`; block sizes are `BLOCKS_MM` times `scale`. Widened
    by how far the residuals go together.
    """
    reach = np.array([radius_mm] * 3 + [1.0] * 3)
    best = np.zeros((6, 6))
    rng = np.random.default_rng(SEED)
    weighted = fit.rows * fit.weights[:, None]
    for size in BLOCKS_MM:
        block = _blocks(fit.points, size * scale)
        count = int(block.max()) + 1
        if count < LEAST_BLOCKS:
            continue
        matrices, sides = np.zeros((count, 6, 6)), np.zeros((count, 6))
        np.add.at(matrices, block, weighted[:, :, None] * fit.rows[:, None, :])
        np.add.at(sides, block, weighted * fit.residuals[:, None])
        times = rng.multinomial(count, np.full(count, 1 / count), size=DRAWS)
        drawn = np.einsum("db,bij->dij", times, matrices) + 1e-9 * np.eye(6)
        steps = np.linalg.solve(drawn, np.einsum("db,bi->di", times, sides)[..., None])[..., 0]
        found = np.cov(steps.T)
        best = found if np.diag(found) @ reach**2 > np.diag(best) @ reach**2 else best
    together = residual_length(fit.points, np.sqrt(fit.weights) * fit.residuals, scale)
    widen = WIDEN_WHITE + (WIDEN_LONG - WIDEN_WHITE) * min(1.0, together / LONG_MM)
    return best * widen**2


def _blocks(points: Array, size: float) -> IntArray:
    """Number the cubes of side `size` that hold points; return each point's."""
    cubes = np.floor(points / size).astype(np.int64)
    return np.ravel(np.unique(cubes, axis=0, return_inverse=True)[1]).astype(np.int64)
