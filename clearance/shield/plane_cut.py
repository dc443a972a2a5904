"""Cut a mesh in two along a plane; both sides share the very vertices of the cut."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import IntArray, Mesh


def cut_by_plane(mesh: Mesh, away: Array) -> tuple[Mesh, Mesh]:
    """Return what lies above and below a plane, as two sets of triangles over the same vertices.

    Parameters
    ----------
    away : (n,) float64
        Signed distance of each vertex from the plane, mm; a vertex at exactly 0 stays in both.

    Returns
    -------
    (Mesh, Mesh)
        Triangles in the plane count as above. Every crossed edge gets one new vertex, so that the sides have no
        cracks and fit each other exactly.
    """
    sign = np.sign(away).astype(np.int64)
    sides = np.sort(np.stack([mesh.faces, np.roll(mesh.faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    edges, of_face = np.unique(sides, axis=0, return_inverse=True)
    crossed = sign[edges[:, 0]] * sign[edges[:, 1]] < 0
    a, b = edges[crossed].T
    share = (away[a] / (away[a] - away[b]))[:, None]
    new = np.full(len(edges), -1, dtype=np.int64)
    new[crossed] = len(mesh.vertices) + np.arange(int(crossed.sum()))
    vertices = np.concatenate([mesh.vertices, mesh.vertices[a] + share * (mesh.vertices[b] - mesh.vertices[a])])
    signs = np.concatenate([sign, np.zeros(len(a), dtype=np.int64)])
    faces = _split(mesh.faces, new[np.ravel(of_face)].reshape(-1, 3))
    below = (signs[faces] <= 0).all(axis=1) & (signs[faces] < 0).any(axis=1)
    return Mesh(vertices, faces[~below]), Mesh(vertices, faces[below])


def _split(faces: IntArray, middle: IntArray) -> IntArray:
    """Split faces whose edges ab, bc, ca carry new vertices (-1: none); a plane crosses two edges, or one."""
    done = [faces[(middle < 0).all(axis=1)]]
    for k in range(3):
        turned, m = np.roll(faces, -k, axis=1), np.roll(middle, -k, axis=1)
        lone = (m[:, 0] >= 0) & (m[:, 2] >= 0)
        (a, b, c), ab, ca = turned[lone].T, m[lone, 0], m[lone, 2]
        done += [np.stack(t, axis=1) for t in ((a, ab, ca), (ab, b, c), (ab, c, ca))]
        through = (m[:, 1] >= 0) & (m[:, 0] < 0) & (m[:, 2] < 0)
        (a, b, c), bc = turned[through].T, m[through, 1]
        done += [np.stack(t, axis=1) for t in ((a, b, bc), (a, bc, c))]
    return np.concatenate(done)
