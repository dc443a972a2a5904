"""What is known of each scan point: how far apart its neighbours lie, how noisy it is, whether anything supports it.

Nothing is moved or removed.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.cubes import cubes
from clearance.scene.keep import HALO_MM
from clearance.scene.mesh_io import equal_rows
from clearance.scene.neighbours import Neighbours
from clearance.scene.noise import measure_noise
from clearance.scene.scan import Scan
from clearance.scene.sieve import Sifted
from clearance.scene.spacing import SPACING_RANK, local_spacing
from clearance.scene.strays import NEIGHBOURS, find_strays, sparse_strays

REPEAT_MM = 0.02
"""Points in one cube of this side are one point seen again: they say nothing of how near the next surface is."""

TOGETHER_MM = 10.0
"""Points of one cube of this side are worked on together."""

SPOKEN_MM = 5.0
"""Of the thinned points in a cube of this side one is asked for its spacing."""

LEAST_FOR_NOISE = 1000
"""Points kept point by point below which noise is measured on the thinned scan."""


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


def conditioned(sifted: Sifted, noise: float | Literal["auto"], accuracy: float) -> Scan:
    """Condition what a sieve left: as `condition` where it was kept point by point.

    The spacing of a thinned point is that of one thinned point near it and the way between them: no less than
    the distance to its own sixth neighbour. Rows of a coarse line scan are not looked for there.
    """
    if (thinned := sifted.thinned) is None:
        return replace(condition(sifted.points, noise, accuracy), file_of=sifted.file_of)
    sifted, measured = _gathered(sifted, thinned), noise == "auto"
    dense = sifted.points[~thinned]
    around = np.concatenate([dense, sifted.halo])
    if noise == "auto" and len(around) < LEAST_FOR_NOISE:
        noise = measure_noise(sifted.points)
    scan = condition(around, noise, accuracy, keep=np.arange(len(around)) < len(dense))
    spacing = np.zeros(len(sifted.points))
    spacing[~thinned] = scan.spacing_mm
    alone = thinned.copy()
    alone[~thinned] = scan.spacing_mm > HALO_MM / 2  # Their neighbours may lie beyond the halo.
    between = _spacing_between(sifted.points[alone], sifted.points)
    # Neighbours nearer than half the halo were all there: what had a wide spacing in spite of them is seen repeatedly.
    again = ~thinned[alone] & (between < HALO_MM / 2)
    spacing[alone] = np.where(again, spacing[alone], between)
    alone[np.flatnonzero(alone)[again]] = False
    stray = sparse_strays(sifted.points, spacing, alone, scan.noise_mm)
    stray[~thinned] |= scan.stray
    return replace(
        scan, points=sifted.points, spacing_mm=spacing.astype(np.float32), stray=stray,
        noise_measured=measured, file_of=sifted.file_of, thinned=thinned,
    )  # fmt: skip


def _gathered(sifted: Sifted, thinned: NDArray[np.bool_]) -> Sifted:
    """Return the points kept one by one in the order of cubes: neighbours are then found in half the time."""
    dense = int((~thinned).sum())
    order = np.arange(len(sifted.points))
    order[:dense] = np.lexsort(np.floor(sifted.points[:dense] / TOGETHER_MM).T)
    return replace(sifted, points=sifted.points[order], file_of=sifted.file_of[order])


def _spacing_between(asked: Array, points: Array) -> Array:
    """Return the distance, (n,) mm, of each of `asked` to its sixth neighbour among `points`, or more than that.

    It is exact where it is far larger than the way to the point that was asked.
    """
    if len(points) <= SPACING_RANK:
        return np.full(len(asked), float(np.linalg.norm(np.ptp(points, axis=0))) if len(points) else 0.0)
    first, group = cubes(asked, SPOKEN_MM)
    tree = Neighbours(points)
    sixth = tree.nearest(asked[first], SPACING_RANK + 1)[0][:, SPACING_RANK]
    between: Array = sixth[group] + np.linalg.norm(asked - asked[first][group], axis=1)
    sparse = np.flatnonzero(between > 2 * SPOKEN_MM)
    between[sparse] = tree.nearest(asked[sparse], SPACING_RANK + 1)[0][:, SPACING_RANK]
    return between


def _examine(points: Array, noise: float | Literal["auto"]) -> tuple[Array, NDArray[np.bool_], float]:
    """Return spacing, strays and noise of points of which no two are equal."""
    if len(points) <= NEIGHBOURS:
        sigma = 0.0 if noise == "auto" else float(noise)
        return np.full(len(points), np.inf), np.ones(len(points), dtype=bool), sigma
    tree = Neighbours(points)
    distance, index = tree.nearest(points, NEIGHBOURS + 1)
    spacing = local_spacing(points, distance, index, tree)
    usual = spacing <= 2.0 * float(np.median(spacing))
    sigma = measure_noise(points[usual]) if noise == "auto" else float(noise)
    return spacing, find_strays(points, distance, index, sigma), sigma
