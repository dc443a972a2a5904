"""Where the scanned surface stops: points on its rims, and which way each rim faces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.mesh import IntArray
from clearance.scene.neighbours import Neighbours

RING = 12
"""Neighbours among which a point looks for an open side."""

OPEN_RAD = 1.75
"""A point is on a rim where no neighbour lies in so wide an angle (100 degrees) of its tangent plane."""

LONE = 3.0
"""A point this many times farther from its neighbours than they are from theirs lies on no surface that could end."""

PATCH = 40
"""Neighbours that tell the surface's direction at a rim and on which side of the point it lies."""

BLOCK = 100_000
"""Points worked on at a time."""


@dataclass(frozen=True, eq=False)
class Rims:
    """Rim points of a scanned surface.

    Attributes
    ----------
    points : (n, 3) float64, mm
    outward : (n, 3) float64
        Unit tangents away from the surface that was seen.
    normals : (n, 3) float64
        Unit, either side.
    spacing_mm : (n,) float64
        Distance to the sixth neighbour usual about here, not raised by the rim itself.
    bend_per_mm : (n,) float64
        Curvature along `outward`, 1/mm, above zero where the surface bends to the side of the normal.
    """

    points: Array
    outward: Array
    normals: Array
    spacing_mm: Array
    bend_per_mm: Array

    def of(self, chosen: NDArray[np.bool_]) -> Rims:
        """Return the chosen rim points."""
        return Rims(
            self.points[chosen], self.outward[chosen], self.normals[chosen], self.spacing_mm[chosen],
            self.bend_per_mm[chosen],
        )  # fmt: skip


def find_rims(points: Array, tree: Neighbours) -> Rims:
    """Return the rims of (n, 3) scan points, mm, n > 40. False ones occur inside noisy surfaces.

    A rim point's neighbours leave an open angle in its tangent plane (the angle criterion: Bendels,
    Schnabel and Klein 2006, "Detecting holes in point set surfaces").
    """
    distance, index = tree.nearest(points, RING + 1)
    sixth = distance[:, 6]
    found = np.flatnonzero(np.concatenate([_widest_open(points, index[s]) for s in _blocks(len(points))]) > OPEN_RAD)
    _, patch = tree.nearest(points[found], PATCH + 1)
    around = points[patch] - points[found, None]
    middle = around.mean(axis=1)
    normals, _, _ = _tangents(around - middle[:, None])
    outward = -(middle - np.einsum("ni,ni->n", middle, normals)[:, None] * normals)
    length = np.linalg.norm(outward, axis=1, keepdims=True)
    usual = np.quantile(sixth[patch], 0.25, axis=1)
    known = (length[:, 0] > 0) & (sixth[found] < LONE * usual)
    outward = outward / np.where(length > 0, length, 1)
    bend = _bend(around - middle[:, None], normals, outward)
    return Rims(points[found[known]], outward[known], normals[known], usual[known], bend[known])


def _bend(patches: Array, normals: Array, outward: Array) -> Array:
    """Return d2h/da2, (n,) 1/mm, of the height h along the normal over the way a along `outward`, least squares."""
    a, h = np.einsum("nki,ni->nk", patches, outward), np.einsum("nki,ni->nk", patches, normals)
    powers = np.stack([np.ones_like(a), a, a**2 / 2], axis=2)
    square = np.matmul(powers.transpose(0, 2, 1), powers) + 1e-9 * np.eye(3)
    fitted: Array = np.linalg.solve(square, np.einsum("nkj,nk->nj", powers, h)[..., None])
    return fitted[:, 2, 0]


def _blocks(count: int) -> list[slice]:
    return [slice(start, start + BLOCK) for start in range(0, count, BLOCK)]


def _widest_open(points: Array, index: IntArray) -> Array:
    """Return the widest angle, (m,) rad, about a point (first of each row) that holds no neighbour."""
    around = points[index[:, 1:]] - points[index[:, :1]]
    spread = np.concatenate([np.zeros((len(index), 1, 3)), around], axis=1)
    _, u, v = _tangents(spread - spread.mean(axis=1, keepdims=True))
    x, y = np.einsum("mki,mi->mk", around, u), np.einsum("mki,mi->mk", around, v)
    angle = np.sort(np.arctan2(y, x), axis=1)
    gaps = np.diff(angle, axis=1, append=angle[:, :1] + 2 * np.pi)
    widest: Array = gaps.max(axis=1)
    return widest


def _tangents(patches: Array) -> tuple[Array, Array, Array]:
    """Return normal and two tangents, (m, 3) each, of centred patches (m, k, 3)."""
    _, axes = np.linalg.eigh(np.matmul(patches.transpose(0, 2, 1), patches))
    return axes[..., 0], axes[..., 1], axes[..., 2]
