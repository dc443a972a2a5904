"""Scan points brought onto the surface their neighbours lie on, so that no noise extreme is the nearest point."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.local_quadric import fit_quadrics
from clearance.scene.neighbours import Neighbours

SIZES = (60, 30)
"""Neighbours a surface is fitted to; the smaller number where the larger does not fit."""

COMPANY, AGREE = 12, 0.75
"""A fit counts where this share of those of a point and its nearest `COMPANY` passes: one patch alone decides badly."""

FARTHEST = 5.0
"""Sigma a point is moved at most; farther off it is alone."""

BLOCK = 1000
"""Patches fitted at a time: more do not fit the processor's cache."""

CUBE_MM = 10.0
"""Points of one cube are asked about together, which halves the time of the search."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Supported:
    """Chosen scan points on the surface their neighbours support.

    Attributes
    ----------
    points : (m, 3) float64, mm
        On the local surface; a point without one stays where it was.
    moved_mm : (m,) float64
        How far each was moved; no more than 5 sigma.
    smoothed : (m,) bool
        Points that have a local surface and are now on it.
    alone : (m,) bool
        Points off by more than 5 sigma a surface that their neighbours agree on: flying points near a
        surface. Not moved.
    """

    points: Array
    moved_mm: Array
    smoothed: NDArray[np.bool_]
    alone: NDArray[np.bool_]


def supported(points: Array, chosen: NDArray[np.int64], noise_mm: float) -> Supported:
    """Bring each chosen point onto the quadratic surface through its nearest neighbours.

    Parameters
    ----------
    points : (n, 3) float64, mm
        The whole scan without its stray points; neighbours are looked for in all of it.
    chosen : (m,) int64
        Rows of `points` to bring onto their surface, none twice.
    noise_mm : float
        1 sigma. Points are returned unchanged if it is 0.

    Notes
    -----
    A point stays where it was at sharp edges and corners, on wires, between sheets, at the scan's own edge and
    on coarse line scans. Noise that varies slowly over a patch of 60 points moves the patch as a whole
    and stays; it belongs to the scanner's accuracy. A bead that stands on a surface and is about as wide as the spacing
    is cut where its residuals pass for noise: by up to 1.4 sigma on average, measured on beads two sigma high.
    See `clearance.scene.local_quadric`
    for how much a crest is cut.
    """
    raw = points[chosen]
    height, normal = np.zeros(len(raw)), np.zeros((len(raw), 3))
    held = np.zeros(len(raw), dtype=bool)
    if noise_mm > 0.0:
        tree = Neighbours(points)
        passed = np.full(len(points), np.nan)
        left = np.lexsort(np.floor(raw / CUBE_MM).T)
        for size in (s for s in SIZES if s <= len(points)):
            found = _level(tree, points, chosen[left], noise_mm, size, passed)
            height[left], normal[left], agreed = found
            held[left] = agreed
            passed[chosen[left[agreed]]] = 1.0
            left = left[~agreed]
            if not len(left):
                break
    alone = held & (np.abs(height) > FARTHEST * noise_mm)
    smoothed = held & ~alone
    moved = np.where(smoothed, height, 0.0)
    return Supported(
        points=raw + moved[:, None] * normal, moved_mm=np.abs(moved), smoothed=smoothed, alone=alone
    )  # fmt: skip


def _level(
    tree: Neighbours, points: Array, rows: NDArray[np.int64], noise_mm: float, size: int, passed: Array
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Fit `size` neighbours of each of `rows`; return heights, normals and which fits count. Notes in `passed`."""
    height, normal = np.empty(len(rows)), np.empty((len(rows), 3))
    determined = np.empty(len(rows), dtype=bool)
    company = np.empty((len(rows), COMPANY + 1), dtype=np.int64)
    for start in range(0, len(rows), BLOCK):
        block = slice(start, start + BLOCK)
        _, index = tree.nearest(points[rows[block]], size)
        fit = fit_quadrics(points[index] - points[rows[block], None], noise_mm)
        height[block], normal[block], determined[block] = fit.height, fit.normal, fit.determined
        passed[rows[block]] = fit.determined & fit.smooth
        company[block] = index[:, : COMPANY + 1]
    known = passed[company]
    counted = np.maximum(np.isfinite(known).sum(axis=1), 1)
    return height, normal, determined & (np.nansum(known, axis=1) >= AGREE * counted)
