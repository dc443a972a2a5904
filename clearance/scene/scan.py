"""The bay scan after conditioning: points, what is known of their spacing and noise, strays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array


@dataclass(frozen=True, eq=False, kw_only=True)
class Scan:
    """Scan points in the bay's frame.

    Attributes
    ----------
    points : (n, 3) float64, mm, bay frame
    spacing_mm : (n,) float32
        Local point spacing: distance below which neighbours on the same surface lie.
    stray : (n,) bool
        Points that no neighbours support. Reported, not decided on.
    noise_mm : float
        1 sigma of the points about the surface, given by the user or measured.
    noise_measured : bool
    accuracy_mm : float
        The scanner's stated accuracy, 1 sigma.
    raw : (n, 3) float64 or None
        The points as scanned, where `points` were brought onto the surface that their neighbours show.
    file_of : (n,) int64 or None
        Which of the job's scan files each point came from, by number from 0.
    thinned : (n,) bool or None
        Points that speak for a cube far from the part (`clearance.scene.sieve`); None where the whole scan was kept.
    """

    points: Array
    spacing_mm: NDArray[np.float32]
    stray: NDArray[np.bool_]
    noise_mm: float
    noise_measured: bool
    accuracy_mm: float
    raw: Array | None = None
    file_of: NDArray[np.int64] | None = None
    thinned: NDArray[np.bool_] | None = None

    @property
    def as_scanned(self) -> Array:
        """(n, 3) points before anything was done to them, mm."""
        return self.points if self.raw is None else self.raw
