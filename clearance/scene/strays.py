"""Which scan points does nothing support? Flying points, as scanners make them at edges and reflections."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.neighbours import Neighbours
from clearance.scene.spacing import SPACING_RANK

NEIGHBOURS = 16
"""Neighbours looked at around each point."""

SUPPORT_RANK, SUPPORT_REACH = 4, 2.0
"""A point needs this many neighbours within this multiple of the spacing typical nearby."""

RARE, SPARSE = 3.0, 5.0
"""Multiples of the scan's median spacing: `RARE` points are compared with each other, `SPARSE` ones are suspected."""

THINNED_MM = 15.0
"""Spacing, as told for thinned points, up to which the cubes themselves explain it."""

LONELY_MM = 20.0
"""Distance to the sixth neighbour from which a point of a thinned scan is suspected."""

RARE_NEIGHBOURS = 12
FLAT = 0.15
"""Thickness over length of a neighbourhood that still counts as a surface, if noise does not explain more."""

Flags = NDArray[np.bool_]


def find_strays(points: Array, distance: Array, index: NDArray[np.int64], noise_mm: float) -> Flags:
    """Flag points that no neighbours support.

    Suspected are (a) points with fewer than four neighbours within twice the median local spacing
    of their 16 nearest, and (b) points five times sparser than the scan's median and no denser
    than if all sparse points were strewn over the scan's bounding box. A suspect is cleared if it
    lies with its nearest sparse points on a flat or straight piece, no farther from them than they
    from each other: a thinly scanned surface beside a densely scanned one.

    Flying points nearer to a surface than about twice its local spacing cannot be told from it.

    Parameters
    ----------
    points : (n, 3) float64, mm, no two equal
    distance, index : (n, 17) float64 mm, int64
        Nearest neighbours of each point, itself first.
    noise_mm : float
        1 sigma.

    Returns
    -------
    (n,) bool
    """
    spacing = distance[:, SPACING_RANK]
    typical = np.median(spacing[index[:, 1:]], axis=1)
    median = float(np.median(spacing))
    rare = np.flatnonzero(spacing > RARE * median)
    strewn = _strewn_spacing(points, len(rare))
    suspect = np.flatnonzero(
        (distance[:, SUPPORT_RANK] > SUPPORT_REACH * typical) | (spacing > max(SPARSE * median, 0.5 * strewn))
    )
    stray = np.zeros(len(points), dtype=bool)
    stray[suspect] = ~_on_sparse_surface(points[suspect], points[rare], noise_mm)
    return stray


def sparse_strays(points: Array, spacing_mm: Array, asked: Flags, noise_mm: float) -> Flags:
    """Flag those of the points `asked` about that no neighbours support, in a scan thinned there.

    As `find_strays`, but suspected are also all whose sixth neighbour is farther than `LONELY_MM`: where a scan is
    thinned, its bounding box tells nothing of how sparse strewn points are.

    Parameters
    ----------
    points : (n, 3) float64, mm
    spacing_mm : (n,)
        Distance to the sixth neighbour or somewhat more, so that some flying points go unflagged.
    asked : (n,) bool
    noise_mm : float
        1 sigma.
    """
    stray = np.zeros(len(points), dtype=bool)
    if len(points) <= NEIGHBOURS:
        return stray
    wide = spacing_mm > max(RARE * float(np.median(spacing_mm)), THINNED_MM)
    suspect = np.flatnonzero(asked & wide)
    distance, index = Neighbours(points).nearest(points[suspect], NEIGHBOURS + 1)
    typical = np.median(spacing_mm[index[:, 1:]], axis=1)
    lone = spacing_mm[suspect] > max(SPARSE * float(np.median(spacing_mm)), LONELY_MM)
    suspect = suspect[lone | (distance[:, SUPPORT_RANK] > SUPPORT_REACH * typical)]
    stray[suspect] = ~_on_sparse_surface(points[suspect], points[wide], noise_mm)
    return stray


def _strewn_spacing(points: Array, count: int) -> float:
    """Return the spacing that `count` points strewn at random over the bounding box would have."""
    volume = float(np.ptp(points, axis=0).prod())
    return float((SPACING_RANK * volume / (4.0 / 3.0 * np.pi * max(count, 1))) ** (1.0 / 3.0))


def _on_sparse_surface(suspects: Array, rare: Array, noise_mm: float) -> Flags:
    """Tell which suspects lie on a flat or straight piece made of the `rare` points."""
    if not len(suspects) or len(rare) <= RARE_NEIGHBOURS:
        return np.zeros(len(suspects), dtype=bool)
    tree = Neighbours(rare)
    distance, index = tree.nearest(suspects, RARE_NEIGHBOURS + 1)
    own = distance[:, :1] == 0
    distance = np.where(own, distance[:, 1:], distance[:, :-1])
    index = np.where(own, index[:, 1:], index[:, :-1])
    patch = rare[index]
    middle = patch.mean(axis=1)
    patch = patch - middle[:, None]
    variance, axes = np.linalg.eigh(np.einsum("mki,mkj->mij", patch, patch) / RARE_NEIGHBOURS)
    extent = np.sqrt(np.maximum(variance, 0.0))
    thick = np.maximum(3.0 * noise_mm, FLAT * extent[:, 2])
    off_plane = np.abs(np.einsum("mi,mi->m", suspects - middle, axes[:, :, 0]))
    reach, _ = tree.nearest(rare, SUPPORT_RANK + 1)
    near = distance[:, SUPPORT_RANK - 1] < SUPPORT_REACH * np.median(reach[index, SUPPORT_RANK], axis=1)
    supported: Flags = (extent[:, 0] < thick) & (off_plane < 2.0 * thick) & near
    return supported
