"""Split long edges so that colours and patches on a coarse mesh have somewhere to sit. The surface stays as it is."""

from __future__ import annotations

import numpy as np

from clearance.scene.mesh import IntArray, Mesh

MOST_TRIANGLES = 60_000
"""Refining stops once there are this many triangles."""


def edge_limit(mesh: Mesh, wanted_mm: float) -> float:
    """Return `wanted_mm`, or the longer edge at which `mesh` stays near `MOST_TRIANGLES` triangles, mm."""
    a, b, c = mesh.triangles.swapaxes(0, 1)
    area = float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum()) / 2
    return max(wanted_mm, float(np.sqrt(4 * area / MOST_TRIANGLES)))


def refined(mesh: Mesh, longest_mm: float) -> Mesh:
    """Return `mesh` with every edge longer than `longest_mm` halved until none is, or there are triangles enough.

    New vertices lie on the old edges and both triangles of an edge share them, so a closed mesh
    stays closed and no point of the surface moves by more than float64 rounding.
    """
    if longest_mm <= 0:
        raise ValueError("the longest edge must be above 0 mm")
    vertices, faces = mesh.vertices, mesh.faces
    while True:
        edges, of_face = _edges(faces)
        long = np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1) > longest_mm
        if not long.any() or len(faces) > MOST_TRIANGLES:
            return Mesh(vertices, faces)
        middle = np.full(len(edges), -1, dtype=np.int64)
        middle[long] = len(vertices) + np.arange(int(long.sum()))
        vertices = np.concatenate([vertices, vertices[edges[long]].mean(axis=1)])
        faces = _split(faces, middle[of_face])


def _edges(faces: IntArray) -> tuple[IntArray, IntArray]:
    """Return (e, 2) unique edges and, for each face, the indices (m, 3) of its edges ab, bc, ca."""
    pairs = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    edges, index = np.unique(pairs, axis=0, return_inverse=True)
    return edges, np.asarray(index, dtype=np.int64).reshape(-1, 3)


def _split(faces: IntArray, middle: IntArray) -> IntArray:
    """Replace faces whose edges ab, bc, ca carry middle vertices (-1: none) by 1, 2, 3 or 4 faces."""
    count = (middle >= 0).sum(axis=1)
    done = [faces[count == 0]]
    for turned, m in ((np.roll(faces, -k, axis=1), np.roll(middle, -k, axis=1)) for k in range(3)):
        one = (count == 1) & (m[:, 0] >= 0)
        (a, b, c), ab = turned[one].T, m[one, 0]
        done += [np.stack([a, ab, c], axis=1), np.stack([ab, b, c], axis=1)]
        two = (count == 2) & (m[:, 2] < 0)
        (a, b, c), (ab, bc, _) = turned[two].T, m[two].T
        done += [np.stack(t, axis=1) for t in ((a, ab, c), (ab, b, bc), (ab, bc, c))]
    (a, b, c), (ab, bc, ca) = faces[count == 3].T, middle[count == 3].T
    done += [np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
    return np.concatenate(done)
