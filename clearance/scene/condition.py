"""What is known of each scan point: how far apart its neighbours lie, how noisy it is, whether anything supports it.

Nothing is moved or removed.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.mesh_io import equal_rows
from clearance.scene.neighbours import Neighbours
from clearance.scene.noise import measure_noise
from clearance.scene.scan import Scan
from clearance.scene.spacing import local_spacing
from clearance.scene.strays import NEIGHBOURS, find_strays

REPEAT_MM = 0.02
"""Points in one cube of this side are one point seen again: they say nothing of how near the next surface is."""


def condition(
    points: Array, noise: float | Literal["auto"], accuracy: float, keep: NDArray[np.bool_] | None = None
) -> Scan:
    """Measure spacing and noise, flag strays.

    Parameters
    ----------
    points : (n, 3) float64, mm, bay frame
    noise : float or "auto"
        1 sigma, mm, or "auto" to measure it (`clearance.scene.noise`).
    accuracy : float
        The scanner's stated accuracy, mm, 1 sigma.
    keep : (n,) bool, optional
        Points to return. Neighbours are looked for among all points, so that the edge of a crop is
        not taken for the edge of the scan.

    Returns
    -------
    Scan
        `spacing_mm`: see `clearance.scene.spacing`. Infinite where there are fewer than 17 different
        points, all of which are then strays.
        `stray`: see `clearance.scene.strays`.
        Points that agree to 0.02 mm (a scan exported twice, say) count as one in all of this.
    """
    chosen = np.ones(len(points), dtype=bool) if keep is None else keep
    first, label = equal_rows(np.round(points / REPEAT_MM))
    spacing, stray, sigma = _examine(points[first], noise)
    same = label[chosen]
    return Scan(
        points=points[chosen], spacing_mm=spacing[same].astype(np.float32), stray=stray[same],
        noise_mm=sigma, noise_measured=noise == "auto", accuracy_mm=accuracy,
    )  # fmt: skip


def _examine(points: Array, noise: float | Literal["auto"]) -> tuple[Array, NDArray[np.bool_], float]:
    """Return spacing, strays and noise of points of which no two are equal."""
    if len(points) <= NEIGHBOURS:
        sigma = 0.0 if noise == "auto" else float(noise)
        return np.full(len(points), np.inf), np.ones(len(points), dtype=bool), sigma
    distance, index = Neighbours(points).nearest(points, NEIGHBOURS + 1)
    spacing = local_spacing(points, distance, index)
    usual = spacing <= 2.0 * float(np.median(spacing))
    sigma = measure_noise(points[usual]) if noise == "auto" else float(noise)
    return spacing, find_strays(points, distance, index, sigma), sigma
