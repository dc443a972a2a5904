"""Turn triangles so that neighbours agree on which side is out. No vertex moves and no triangle is added."""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from clearance.frames import Array
from clearance.scene.mesh import IntArray, Mesh


def wound_alike(mesh: Mesh) -> Mesh:
    """Return the mesh with every two triangles that share an edge of their own running along it opposite ways.

    Which side is out decides what is inside, and a shell whose triangles disagree has no inside: what
    it swallows would be called clear. Each piece keeps the sense of most of its triangles. A
    one-sided surface (a Moebius strip) has no such winding and is returned as it is. Sheets written
    once from each side count once (see `_one_sided`).
    """
    mesh = _one_sided(mesh)
    first, second, alike = _neighbours(mesh)
    if alike.all():
        return mesh
    # Every triangle twice, as it is and turned; what agrees is joined, so each piece gives two mirror-image ones.
    count = len(mesh.faces)
    as_is = np.concatenate([first, first + count])
    other = np.concatenate([np.where(alike, second, second + count), np.where(alike, second + count, second)])
    graph = coo_array((np.ones(len(as_is), np.int8), (as_is, other)), shape=(2 * count, 2 * count))
    pieces, label = connected_components(graph.tocsr(), directed=False)
    kept = np.bincount(label[:count], minlength=pieces)
    own, turned = label[:count], label[count:]
    turn = (kept[turned] > kept[own]) | ((kept[turned] == kept[own]) & (turned < own))
    return Mesh(mesh.vertices, np.where(turn[:, None], mesh.faces[:, ::-1], mesh.faces))


def _one_sided(mesh: Mesh) -> Mesh:
    """Return the mesh with repeated triangles left out, where that leaves it closed or all of them are repeated.

    The two sides of such a sheet cancel in the winding number, which calls what the shell swallows
    clear. Two bodies that share a wall have repeated triangles too: there the rest would not be
    closed, the sides cancel rightly, and the mesh is returned as it is.
    """
    _, first = np.unique(np.sort(mesh.faces, axis=1), axis=0, return_index=True)
    if len(first) == len(mesh.faces):
        return mesh
    single = Mesh(mesh.vertices, mesh.faces[np.sort(first)])
    start, end = single.faces.ravel(), single.faces[:, [1, 2, 0]].ravel()
    edges = np.minimum(start, end) * len(mesh.vertices) + np.maximum(start, end)
    closed = bool((np.unique(edges, return_counts=True)[1] == 2).all())
    return single if closed or 2 * len(first) == len(mesh.faces) else mesh


def outward(mesh: Mesh) -> Mesh:
    """Return a closed mesh with the normals of every piece outward, those of a cavity into the cavity.

    First the whole is given a positive volume. A piece whose own volume is then negative bounds a
    cavity if all its vertices lie inside the other pieces; else it is a body and is turned.
    """
    piece = _pieces(mesh)
    volume = _volumes(mesh, piece)
    faces = mesh.faces if volume.sum() >= 0 else mesh.faces[:, ::-1]
    negative = volume * (1 if volume.sum() >= 0 else -1) < 0
    if not negative.any():
        return mesh if faces is mesh.faces else Mesh(mesh.vertices, faces.copy())
    suspect = negative[piece]
    vertices = np.ascontiguousarray(mesh.vertices)
    corners = np.ascontiguousarray(vertices[faces[suspect].ravel()])
    turns = np.asarray(igl.fast_winding_number(vertices, np.ascontiguousarray(faces[~suspect]), corners))
    turn = np.bincount(np.repeat(piece[suspect], 3), turns < 0.5, minlength=len(negative)) > 0
    return Mesh(mesh.vertices, np.where(turn[piece][:, None], faces[:, ::-1], faces))


def _neighbours(mesh: Mesh) -> tuple[IntArray, IntArray, NDArray[np.bool_]]:
    """Return the pairs of triangles that alone share an edge, and whether they run along it opposite ways."""
    start, end = mesh.faces.ravel(), mesh.faces[:, [1, 2, 0]].ravel()
    name = np.minimum(start, end) * len(mesh.vertices) + np.maximum(start, end)
    order = np.argsort(name, kind="stable")
    name = name[order]
    begins = np.flatnonzero(np.r_[True, name[1:] != name[:-1]])
    pair = begins[np.diff(np.r_[begins, len(name)]) == 2]
    one, two = order[pair], order[pair + 1]
    return one // 3, two // 3, (start < end)[one] != (start < end)[two]


def _pieces(mesh: Mesh) -> IntArray:
    """Return for each triangle its piece; pieces share no vertex."""
    corners, count = mesh.faces, len(mesh.vertices)
    start, end = corners[:, [0, 1]].ravel(), corners[:, [1, 2]].ravel()
    graph = coo_array((np.ones(len(start), np.int8), (start, end)), shape=(count, count))
    _, label = connected_components(graph.tocsr(), directed=False)
    _, piece = np.unique(label[corners[:, 0]], return_inverse=True)
    return np.ravel(piece).astype(np.int64)


def _volumes(mesh: Mesh, piece: IntArray) -> Array:
    """Return the signed volume of each piece, mm3 (see `mesh_health.signed_volume`)."""
    middle = 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0))
    a, b, c = (mesh.vertices[mesh.faces[:, k]] - middle for k in range(3))
    return np.asarray(np.bincount(piece, np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0), np.float64)
