"""What is known of each scan point: how far apart its neighbours lie, how noisy it is, whether anything supports it.

Nothing is moved or removed.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.neighbours import Neighbours
from clearance.scene.noise import measure_noise
from clearance.scene.scan import Scan
from clearance.scene.strays import NEIGHBOURS, SPACING_RANK, find_strays


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
        `spacing_mm` is the distance to the sixth nearest neighbour: sqrt(2) pitches on a square
        grid, about sqrt(6 / pi) / sqrt(points per mm2) on a random one (k = pi r^2 density), three
        pitches along a single row. At the edge of a surface, and on strays, it is larger. Exactly
        repeated points count as neighbours at distance 0. Infinite where there are fewer than 17
        points, all of which are then strays.
        `stray`: see `clearance.scene.strays`.
    """
    chosen = np.ones(len(points), dtype=bool) if keep is None else keep
    if len(points) <= NEIGHBOURS:
        spacing, stray = np.full(len(points), np.inf), np.ones(len(points), dtype=bool)
        sigma = 0.0
    else:
        distance, index = Neighbours(points).nearest(points, NEIGHBOURS + 1)
        spacing = distance[:, SPACING_RANK]
        usual = spacing <= 2.0 * float(np.median(spacing))
        sigma = measure_noise(points[usual]) if noise == "auto" else float(noise)
        stray = find_strays(points, distance, index, sigma)
    return Scan(
        points=points[chosen], spacing_mm=spacing[chosen].astype(np.float32), stray=stray[chosen],
        noise_mm=sigma if noise == "auto" else float(noise), noise_measured=noise == "auto", accuracy_mm=accuracy,
    )  # fmt: skip
