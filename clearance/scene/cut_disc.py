"""Cut flat triangles along a disc: what lies outside it and what inside, exactly but for the rim."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array, unit_vector
from clearance.scene.mesh import Mesh

RIM_MM = 0.05
"""The disc is taken as a polygon within it whose sides stay this close to its rim."""

SLIVER_MM2 = 1e-9
"""Pieces of less area are rounding."""


@dataclass(frozen=True, eq=False)
class Disc:
    """A disc, or the round column above and below it: middle (3,), unit normal (3,), radius, mm."""

    point: Array
    normal: Array
    radius_mm: float


def cut_disc(mesh: Mesh, disc: Disc) -> tuple[Mesh, Mesh]:
    """Return the mesh outside the column of a disc and the mesh inside it.

    The column is that of a regular polygon inscribed in the disc, so what is inside is never more than the disc
    holds and lacks at most `RIM_MM` along its rim. No point of the surface moves by more than rounding.
    """
    sides, apothem = _polygon(disc)
    outward = (mesh.triangles - disc.point) @ sides.T - apothem  # (m, 3, k): above 0 is beyond side k
    apart = np.any(outward.min(axis=1) >= 0, axis=1)
    within = np.all(outward.max(axis=1) <= 0, axis=1)
    beyond: list[Array] = []
    held: list[Array] = []
    for corners in mesh.triangles[~apart & ~within]:
        rest = corners
        for side in sides:
            rest, off = _split(rest, (rest - disc.point) @ side - apothem)
            beyond += _fan(off)
            if len(rest) < 3:
                break
        held += _fan(rest)
    return _together(mesh, apart, beyond), _together(mesh, within, held)


def _polygon(disc: Disc) -> tuple[Array, float]:
    """Return the outward normals (k, 3) of the sides and their distance from the middle, mm."""
    half = np.arccos(max(1 - RIM_MM / disc.radius_mm, 0.5))
    count = max(6, int(np.ceil(np.pi / half)))
    u = unit_vector(np.cross(disc.normal, np.eye(3)[int(np.argmin(np.abs(disc.normal)))]))
    angle = 2 * np.pi * np.arange(count) / count
    sides = np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * np.cross(disc.normal, u)
    return sides, float(disc.radius_mm * np.cos(np.pi / count))


def _split(polygon: Array, height: Array) -> tuple[Array, Array]:
    """Split a convex polygon (n, 3), its corners at `height` (n,) above a plane, into what is below and above it."""
    below, above = [], []
    for here, following, h, ahead in zip(
        polygon, np.roll(polygon, -1, axis=0), height, np.roll(height, -1), strict=True
    ):
        if h <= 0:
            below.append(here)
        if h >= 0:
            above.append(here)
        if h * ahead < 0:
            crossing = here + h / (h - ahead) * (following - here)
            below.append(crossing)
            above.append(crossing)
    return np.array(below).reshape(-1, 3), np.array(above).reshape(-1, 3)


def _fan(polygon: Array) -> list[Array]:
    """Return the triangles (3, 3) of a convex polygon, slivers left out."""
    triangles = [polygon[[0, k, k + 1]] for k in range(1, len(polygon) - 1)]
    return [t for t in triangles if np.linalg.norm(np.cross(t[1] - t[0], t[2] - t[0])) > 2 * SLIVER_MM2]


def _together(mesh: Mesh, whole: NDArray[np.bool_], pieces: list[Array]) -> Mesh:
    """Return some triangles of the mesh as they are with loose ones added."""
    loose = np.array(pieces, dtype=np.float64).reshape(-1, 3)
    new = len(mesh.vertices) + np.arange(len(loose), dtype=np.int64).reshape(-1, 3)
    return Mesh(np.concatenate([mesh.vertices, loose]), np.concatenate([mesh.faces[whole], new]))
