"""The surface on which a field given at the nodes of a grid takes the value 0, closed and enclosing.

Each cube of the grid is cut into six tetrahedra about one of its long diagonals (Kuhn 1960), the same
way everywhere, so that neighbours share their faces; in a tetrahedron the field is taken as linear and
its zero surface is one triangle or two (Doi and Koide 1991). Nodes below 0 are inside.
"""

from __future__ import annotations

from itertools import permutations

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import IntArray, Mesh


def zero_surface(field: Array, low: Array, spacing: Array) -> Mesh:
    """Return the closed surface around all nodes below 0, its triangles facing outward.

    Parameters
    ----------
    field : (i, j, k) float64
        No value 0, and above 0 on all six sides of the grid.
    low : (3,) float64, mm
        Place of node (0, 0, 0).
    spacing : (3,) float64, mm
        Of the nodes along each axis.

    Raises
    ------
    ValueError
        For a field that is 0 at a node or not above 0 on a side.
    """
    sides = [np.take(field, at, axis=axis) for axis in range(3) for at in (0, -1)]
    if (field == 0).any() or any((side <= 0).any() for side in sides):
        raise ValueError("the field must not be 0 at a node, and above 0 on every side of the grid")
    flat, strides = field.ravel(), np.array([field.shape[1] * field.shape[2], field.shape[2], 1])
    tetrahedra = _mixed_tetrahedra(field, strides)
    inside = flat[tetrahedra] < 0
    count = inside.sum(axis=1)
    order = np.argsort(~inside, axis=1, kind="stable")
    sorted_ = np.take_along_axis(tetrahedra, order, axis=1)
    pieces = [
        _edges(sorted_[count == 1], (0, 0, 0), (1, 2, 3)),
        _edges(sorted_[count == 3], (0, 1, 2), (3, 3, 3)),
        _edges(sorted_[count == 2], (0, 0, 1), (2, 3, 3)),
        _edges(sorted_[count == 2], (0, 1, 1), (2, 3, 2)),
    ]
    inner = [sorted_[count == n][:, 0] for n in (1, 3, 2, 2)]
    return _joined(np.concatenate(pieces), np.concatenate(inner), flat, field.shape, low, spacing)


def _mixed_tetrahedra(field: Array, strides: IntArray) -> IntArray:
    """Return the tetrahedra, (t, 4) node numbers, whose nodes are not all on one side."""
    inside = field < 0
    corner = [inside[x or None : (x - 1) or None, y or None : (y - 1) or None, z or None : (z - 1) or None]
              for x in (0, 1) for y in (0, 1) for z in (0, 1)]  # fmt: skip
    mixed = np.logical_or.reduce(corner) & ~np.logical_and.reduce(corner)
    start = np.argwhere(mixed) @ strides
    found = []
    for order in permutations(range(3)):
        steps = np.concatenate([[0], np.cumsum(strides[list(order)])])
        found.append(start[:, None] + steps)
    tetrahedra = np.concatenate(found)
    within = inside.ravel()[tetrahedra]
    return np.asarray(tetrahedra[within.any(axis=1) & ~within.all(axis=1)], dtype=np.int64)


def _edges(tetrahedra: IntArray, inner: tuple[int, int, int], outer: tuple[int, int, int]) -> IntArray:
    """Return triangles as (t, 3, 2): for each corner the inner and the outer node of the edge it lies on."""
    return np.stack([tetrahedra[:, inner], tetrahedra[:, outer]], axis=2)


def _joined(
    triangles: IntArray, inner: IntArray, flat: Array, shape: tuple[int, ...], low: Array, spacing: Array
) -> Mesh:
    """Number the edges, place a vertex on each, and turn every triangle away from an inner node of its tetrahedron."""
    pairs = triangles.reshape(-1, 2)
    keys = pairs[:, 0] * len(flat) + pairs[:, 1]
    _, first, index = np.unique(keys, return_index=True, return_inverse=True)
    ends = pairs[first]
    share = flat[ends[:, 0]] / (flat[ends[:, 0]] - flat[ends[:, 1]])
    start, stop = _places(ends[:, 0], shape), _places(ends[:, 1], shape)
    vertices = start + share[:, None] * (stop - start)
    faces = np.asarray(index, dtype=np.int64).reshape(-1, 3)
    a, b, c = vertices[faces].swapaxes(0, 1)
    inward = np.einsum("ij,ij->i", np.cross(b - a, c - a), _places(inner, shape) - a) > 0
    faces[inward] = faces[inward][:, ::-1]
    return Mesh(low + spacing * vertices, faces)


def _places(nodes: IntArray, shape: tuple[int, ...]) -> Array:
    return np.stack(np.unravel_index(nodes, shape), axis=-1).astype(np.float64)
