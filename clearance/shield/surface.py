"""Open surfaces of triangles: areas, edges, normals, pieces, rims, and the solid of a sheet."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from clearance.frames import Array
from clearance.scene.mesh import IntArray, Mesh

Mask = NDArray[np.bool_]

LEAST_PIECE_MM2 = 400.0
"""Smaller pieces, and smaller holes, are not worth a cut (common practice: a 20 mm square takes no two fixings)."""


def face_areas(mesh: Mesh) -> Array:
    """Return the area of each triangle, (m,) mm²."""
    a, b, c = mesh.triangles.swapaxes(0, 1)
    areas: Array = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    return areas


def edges_of(faces: IntArray) -> tuple[IntArray, NDArray[np.bool_]]:
    """Return (e, 2) edges and whether each is of one triangle only."""
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    edges, times = np.unique(pairs, axis=0, return_counts=True)
    return edges, times == 1


def vertex_normals(mesh: Mesh) -> Array:
    """Return (n, 3) unit normals, the mean of the triangles' about each vertex by area."""
    a, b, c = mesh.triangles.swapaxes(0, 1)
    of_face = np.cross(b - a, c - a)
    normals = np.zeros_like(mesh.vertices)
    for corner in mesh.faces.T:
        np.add.at(normals, corner, of_face)
    unit: Array = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    return unit


def offset_along_normals(mesh: Mesh, by_mm: float) -> Mesh:
    """Return the mesh with every vertex moved along its normal, mm."""
    return Mesh(mesh.vertices + by_mm * vertex_normals(mesh), mesh.faces)


def thickened(inner: Mesh, sheet_mm: float) -> Mesh:
    """Return the closed solid between `inner`, mm, and the same surface `sheet_mm` farther along its normals."""
    n, faces = len(inner.vertices), inner.faces
    if not len(faces):
        return inner
    ways = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    edges, on_rim = edges_of(faces)
    rim = {(int(a), int(b)) for a, b in edges[on_rim]}
    a, b = np.array([way for way in ways.tolist() if (min(way), max(way)) in rim], np.int64).reshape(-1, 2).T
    walls = [np.stack([a, b, b + n], axis=1), np.stack([a, b + n, a + n], axis=1)]
    outer = offset_along_normals(inner, sheet_mm).vertices
    return Mesh(np.concatenate([inner.vertices, outer]), np.concatenate([faces[:, ::-1], faces + n, *walls]))


def tidied(mesh: Mesh) -> Mesh:
    """Return the mesh without triangles that name a vertex twice and without vertices that none names."""
    a, b, c = mesh.faces.T
    faces = mesh.faces[(a != b) & (b != c) & (c != a)]
    used, index = np.unique(faces, return_inverse=True)
    return Mesh(mesh.vertices[used], index.reshape(-1, 3).astype(np.int64))


def without_islands(mesh: Mesh, kept: Mask) -> Mask:
    """Drop connected groups of triangles (by shared edges) of less than `LEAST_PIECE_MM2`."""
    chosen = np.flatnonzero(kept)
    if not len(chosen):
        return kept
    label = pieces(mesh.faces[chosen])
    a, b, c = mesh.vertices[mesh.faces[chosen]].swapaxes(0, 1)
    area = np.bincount(label, np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2)
    left = kept.copy()
    left[chosen] = (area >= LEAST_PIECE_MM2)[label]
    return left


def with_clean_rim(mesh: Mesh, kept: Mask) -> Mask:
    """Drop triangles until the rim passes every vertex once at most."""
    left = kept.copy()
    while left.any():
        faces = mesh.faces[left]
        sides = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
        edges, times = np.unique(sides, axis=0, return_counts=True)
        passes = np.bincount(edges[times == 1].ravel(), minlength=len(mesh.vertices))
        bad = (passes[faces] > 2).any(axis=1)
        if not bad.any():
            break
        left[np.flatnonzero(left)[bad]] = False
    return left


def pieces(faces: IntArray) -> IntArray:
    """Return for each of (m, 3) triangles the number of the piece, joined by shared edges, that it is of."""
    pairs = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    _, edge = np.unique(pairs, axis=0, return_inverse=True)
    ones: NDArray[np.int8] = np.ones(3 * len(faces), dtype=np.int8)
    owner = np.repeat(np.arange(len(faces)), 3)
    joined = coo_matrix((ones, (owner, np.ravel(edge))), shape=(len(faces), int(np.max(edge)) + 1)).tocsr()
    return np.asarray(connected_components(joined @ joined.T, directed=False)[1], dtype=np.int64)


def joined(meshes: Sequence[Mesh]) -> Mesh:
    """Return meshes as one, none of their vertices merged."""
    before = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return Mesh(
        np.concatenate([np.zeros((0, 3)), *(mesh.vertices for mesh in meshes)]),
        np.concatenate(
            [np.zeros((0, 3), np.int64), *(mesh.faces + n for mesh, n in zip(meshes, before, strict=False))]
        ),
    )
