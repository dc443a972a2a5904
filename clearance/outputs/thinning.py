"""Fewer points and triangles for the pages. For the eye only: no number of a report comes from what is left."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.outputs.packing import near_order
from clearance.scene.cubes import cubes
from clearance.scene.mesh import IntArray, Mesh

FINEST_MM = 0.5


def thinned(points: Array, most: int, kept: NDArray[np.bool_] | None = None) -> IntArray:
    """Return which of (n, 3) points stay, ascending: at most about `most`, one to a cube, all of `kept` if they fit."""
    wanted = np.zeros(len(points), bool) if kept is None else kept
    if len(points) <= most:
        return np.arange(len(points), dtype=np.int64)
    if wanted.sum() > most:
        inside = np.flatnonzero(wanted)
        return inside[thinned(points[inside], most)]
    rest = np.flatnonzero(~wanted)
    side, chosen = FINEST_MM, np.arange(len(rest), dtype=np.int64)
    while len(chosen) + wanted.sum() > most:
        chosen, _ = cubes(points[rest], side)
        side *= _wider(len(chosen) / max(most - wanted.sum(), 1))
    return np.sort(np.concatenate([np.flatnonzero(wanted), rest[chosen]]))


def thinned_mesh(mesh: Mesh, most: int) -> tuple[Mesh, IntArray]:
    """Return the mesh with at most `most` triangles, neighbours in order, and each vertex's number in the old one.

    All vertices in a cube become the first of them; what collapses is dropped.
    """
    side = FINEST_MM
    faces, first = mesh.faces, np.arange(len(mesh.vertices), dtype=np.int64)
    while len(faces) > most:
        first, group = cubes(mesh.vertices, side)
        faces = group[mesh.faces]
        corners = np.sort(faces, axis=1)
        _, single = np.unique(corners, axis=0, return_index=True)
        faces = faces[np.sort(single)]
        same = (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 0] == faces[:, 2])
        faces = faces[~same]
        side *= _wider(len(faces) / most)
    used = np.unique(faces)
    order = used[near_order(mesh.vertices[first[used]])]
    number = np.zeros(len(first), np.int64)
    number[order] = np.arange(len(order))
    faces = number[faces]
    turn = np.argmin(faces, axis=1)[:, None]
    faces = np.take_along_axis(faces, (turn + np.arange(3)) % 3, axis=1)
    old = first[order]
    return Mesh(mesh.vertices[old], faces[np.lexsort(faces.T[::-1])]), old


def _wider(surplus: float) -> float:
    """Return by what factor cubes must grow at the least: their count falls with the cube of it or more slowly."""
    return max(1.08, math.pow(surplus, 1 / 3))
