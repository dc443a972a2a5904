"""A panel: a piece of sheet with straight, parallel folds, so that it lies flat without any stretch.

Its flat coordinates are (t, s), mm: t round the folds, s along them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import Mesh
from clearance.shield.plane_cut import cut_by_plane
from clearance.shield.surface import face_areas, thickened, tidied, with_clean_rim, without_islands

GRID_MM = 5.0
"""Largest side of the panel's cells; a rim that a zone cuts is straight within one."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Panel:
    """One piece of the shield, bay frame, neutral pose, mm.

    Attributes
    ----------
    corners : (k, 3) float64
        The inner side's section at s = 0, k at least 2: folds where there is one between two others.
    starts : (k,) float64
        t of each corner.
    along : (3,) float64
        Unit vector along the folds, square to all of `corners`' way.
    flat : Mesh
        The piece laid flat, (n, 3) with z = 0, seen from outside.
    """

    corners: Array
    starts: Array
    along: Array
    flat: Mesh

    @cached_property
    def inner(self) -> Mesh:
        """The side that faces the part, normals away from it."""
        return Mesh(self.place(self.flat.vertices[:, :2]), self.flat.faces)

    def place(self, flat: Array) -> Array:
        """Return where (n, 2) places (t, s) of the inner side lie in space, (n, 3)."""
        round_ = [np.interp(flat[:, 0], self.starts, axis) for axis in self.corners.T]
        placed: Array = np.stack(round_, axis=1) + flat[:, 1:2] * self.along
        return placed

    def solid(self, sheet_mm: float) -> Mesh:
        """Return the closed panel of that thickness, which goes outward."""
        return thickened(self.inner, sheet_mm)

    @property
    def area_mm2(self) -> float:
        """Area of the inner side."""
        return float(face_areas(self.flat).sum())

    @property
    def folds(self) -> Array:
        """t and angle, (f, 2) mm and rad, of each fold; an angle above 0 turns the rims toward the part."""
        way = np.diff(self.corners, axis=0)
        way /= np.linalg.norm(way, axis=1, keepdims=True)
        outward = np.cross(way[:-1], self.along)
        turned = np.arctan2(-np.einsum("ij,ij->i", way[1:], outward), np.einsum("ij,ij->i", way[:-1], way[1:]))
        return np.stack([self.starts[1:-1], turned], axis=1)

    def cut(self, keep: Array) -> Panel:
        """Return what is left where `keep`, (n,) told at the vertices and linear between, is not negative."""
        if not len(self.flat.faces) or (keep >= 0).all():
            return self
        above, _ = cut_by_plane(self.flat, keep)
        return replace(self, flat=_whole(above))


def panel(corners: Array, along: Array, t: tuple[float, float], s: tuple[float, float]) -> Panel:
    """Return the panel between `t` and `s` over a section, (k, 3) mm, that runs left to right seen from outside.

    `t` is counted from the first corner.
    """
    starts = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(corners, axis=0), axis=1))])
    inside = (starts > t[0] + 1e-6) & (starts < t[1] - 1e-6)
    own = np.concatenate([[t[0]], starts[inside], [t[1]]])
    places = np.stack([np.interp(own, starts, axis) for axis in corners.T], axis=1)
    a, b = _steps(own), _steps(np.array(s))
    grid = np.stack(np.meshgrid(a, b, indexing="ij"), axis=-1).reshape(-1, 2)
    number = np.arange(len(grid)).reshape(len(a), len(b))
    p, q, r, u = number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:]
    faces = np.concatenate([np.stack([x.ravel() for x in three], axis=1) for three in ((p, q, r), (p, r, u))])
    flat = Mesh(np.column_stack([grid, np.zeros(len(grid))]), faces.astype(np.int64))
    return Panel(corners=places, starts=own, along=along, flat=flat)


def _steps(ends: Array) -> Array:
    """Split every stretch between two ends into equal steps of at most `GRID_MM`."""
    made = [np.linspace(a, b, int(np.ceil((b - a) / GRID_MM)) + 1)[:-1] for a, b in pairwise(ends)]
    return np.concatenate([*made, ends[-1:]])


def _whole(mesh: Mesh) -> Mesh:
    """Drop crumbs and triangles that touch the rest in one corner."""
    kept = without_islands(mesh, np.ones(len(mesh.faces), dtype=bool))
    kept = with_clean_rim(mesh, kept)
    kept = without_islands(mesh, kept)
    return tidied(Mesh(mesh.vertices, mesh.faces[kept]))
