"""Which triangles of a surface at a standoff belong to a shield: over what needs one, whole, with a clean rim."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from clearance.distance.inside import unsigned_distance
from clearance.frames import Array
from clearance.outputs.raycast import RayMesh
from clearance.scene.mesh import IntArray, Mesh
from clearance.shield.offset import Level, neighbour_means, tidied

Mask = NDArray[np.bool_]

RAYS = 96
"""Directions in which a place is looked out from."""

ENCLOSED = 0.85
"""A place from which this share of all directions ends on the part lies within it (a bore): no shield goes there."""

RIM_ROUNDS = 30
"""Rounds of averaging over neighbours that take the steps of the part's triangles out of the rim."""

LEAST_PIECE_MM2 = 400.0
"""Smaller pieces, and smaller holes, are not worth a cut (common practice: a 20 mm square takes no two fixings)."""


def region(level: Level, part: Mesh, need_faces: Mask, margin_mm: float) -> Mask:
    """Tell which triangles of a level surface stand over what needs a shield, or over what lies near that.

    A place belongs to it if the point of the part nearest to it is within `margin_mm` of a needed triangle,
    averaged over `RIM_ROUNDS` rings of neighbours, and the place is not enclosed by the part. Small holes
    are closed, small islands dropped.
    """
    if not len(level.mesh.faces):
        return np.zeros(0, dtype=bool)
    needed = tidied(Mesh(part.vertices, part.faces[need_faces]))
    away, mean = unsigned_distance(needed, level.nearest)[0], neighbour_means(level.mesh)
    away = np.minimum(away, 3 * margin_mm)
    for _ in range(RIM_ROUNDS):
        away = (away + mean @ away) / 2
    over = away <= margin_mm
    over[over] = ~enclosed(part, level.mesh.vertices[over])
    kept = np.asarray(over[level.mesh.faces].all(axis=1), dtype=np.bool_)
    return without_islands(level.mesh, ~without_islands(level.mesh, ~kept))


def enclosed(part: Mesh, points: Array) -> Mask:
    """Tell which of (n, 3) points, mm, off the surface, the part surrounds. Rays in single precision."""
    if not len(points):
        return np.zeros(0, dtype=bool)
    shape, met = RayMesh(part), np.zeros(len(points))
    for direction in _directions():
        met += shape.blocked(points, np.broadcast_to(direction, points.shape), 0.0)
    surrounded: Mask = met / RAYS > ENCLOSED
    return surrounded


def outside_faces(part: Mesh, faces: Mask) -> Mask:
    """Return the triangles of `faces` (m,) that do not lie in a bore or cavity."""
    a, b, c = part.triangles[faces].swapaxes(0, 1)
    normal = np.cross(b - a, c - a)
    normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
    outside = faces.copy()
    outside[faces] = ~enclosed(part, (a + b + c) / 3 + 0.5 * normal)
    return outside


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
    """Drop triangles until the rim passes every vertex once at most and no triangle hangs by one edge."""
    left = kept.copy()
    while left.any():
        faces = mesh.faces[left]
        sides = np.sort(np.stack([faces, np.roll(faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
        edges, index, times = np.unique(sides, axis=0, return_inverse=True, return_counts=True)
        passes = np.bincount(edges[times == 1].ravel(), minlength=len(mesh.vertices))
        hangs = (times[np.ravel(index)] == 1).reshape(-1, 3).sum(axis=1) > 1
        bad = hangs | (passes[faces] > 2).any(axis=1)
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


def _directions() -> Array:
    """Directions spread evenly over the sphere, (RAYS, 3): points of equal height steps a golden angle apart."""
    height = 1 - (2 * np.arange(RAYS) + 1) / RAYS
    turn = np.arange(RAYS) * np.pi * (3 - np.sqrt(5.0))
    across = np.sqrt(1 - height**2)
    return np.column_stack([across * np.cos(turn), across * np.sin(turn), height])
