"""Bodies for the distance engine: triangles, some degenerate, each owned by a source primitive.

A scan point is a triangle with three equal corners. A body that slides along one or two directions
becomes, exactly, the set it sweeps: a point becomes a segment or a parallelogram, a triangle the
surface of its Minkowski sum with the segment or parallelogram.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import IntArray, Mesh


@dataclass(frozen=True, eq=False)
class Body:
    """Triangle soup with owners.

    Attributes
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    owner : (m,) int64
        For each face the index of the source point or source triangle it came from.
    """

    vertices: Array
    faces: IntArray
    owner: IntArray


@dataclass(frozen=True, eq=False)
class Slide:
    """Translations a body takes: base + a * edges[0] + b * edges[1] with a, b in [0, 1].

    Attributes
    ----------
    base : (3,) float64, mm
    edges : (k, 3) float64, mm, k = 0, 1 or 2
    """

    base: Array
    edges: Array

    def reversed(self) -> Slide:
        """Return the set of the opposite translations."""
        return Slide(-self.base, -self.edges)

    @property
    def middle(self) -> Array:
        """(3,) translation at the centre, mm."""
        centre: Array = self.base + self.edges.sum(axis=0) / 2
        return centre

    @property
    def reach_mm(self) -> float:
        """Farthest translation from `middle`, mm."""
        signs = np.array(list(product((-0.5, 0.5), repeat=len(self.edges))))
        return float(np.linalg.norm(signs @ self.edges, axis=1).max()) if len(self.edges) else 0.0

    @property
    def longest_mm(self) -> float:
        """Length of the longest translation, mm."""
        return float(np.linalg.norm(self.middle)) + self.reach_mm


STILL = Slide(np.zeros(3), np.zeros((0, 3)))


def point_body(points: Array, slide: Slide = STILL) -> Body:
    """Return (n, 3) points, mm, as the exact set they sweep over `slide`."""
    n = len(points)
    first = points + slide.base
    index = np.arange(n, dtype=np.int64)
    if len(slide.edges) == 0:
        return Body(first, np.repeat(index[:, None], 3, axis=1), index)
    if len(slide.edges) == 1:
        faces = np.stack([index, index + n, index + n], axis=1)
        return Body(np.concatenate([first, first + slide.edges[0]]), faces, index)
    a, b = slide.edges
    faces = np.concatenate(
        [
            np.stack([index, index + n, index + 2 * n], axis=1),
            np.stack([index + n, index + 2 * n, index + 3 * n], axis=1),
        ]
    )
    return Body(np.concatenate([first, first + a, first + b, first + a + b]), faces, np.concatenate([index, index]))


def mesh_body(mesh: Mesh, slide: Slide = STILL) -> Body:
    """Return `mesh` as a body; over a slide, a set of triangles that lies in the swept solid and holds its surface.

    The Minkowski sum of a triangle with a parallelogram is bounded by copies of the triangle at the
    corners, copies of the parallelogram at its vertices, and edge x edge parallelograms. All of
    these are kept, so the distance from outside is exact; whether a body lies wholly inside is a
    separate question (`sweep` asks it).
    """
    faces, n = mesh.faces, len(mesh.vertices)
    owner = np.arange(len(faces), dtype=np.int64)
    corners = [np.zeros(3)]
    for edge in slide.edges:
        corners += [c + edge for c in corners]
    vertices = np.concatenate([mesh.vertices + slide.base + c for c in corners])
    soup = [faces + i * n for i in range(len(corners))]
    owners = [owner] * len(corners)
    pairs = {0: [], 1: [(0, 1)], 2: [(0, 1), (2, 3), (0, 2), (1, 3)]}[len(slide.edges)]
    if pairs:
        ends, edge_owner = _unique_edges(faces)
        for low, high in pairs:
            a, b = ends[:, 0], ends[:, 1]
            soup += [np.stack([a + low * n, b + low * n, a + high * n], axis=1)]
            soup += [np.stack([b + low * n, a + high * n, b + high * n], axis=1)]
            owners += [edge_owner, edge_owner]
    if len(slide.edges) == 2:
        used, first_face = np.unique(faces.ravel(), return_index=True)
        for picks in ((0, 1, 2), (1, 2, 3)):
            soup.append(np.stack([used + k * n for k in picks], axis=1))
            owners.append(owner[first_face // 3])
    return Body(vertices, np.concatenate(soup), np.concatenate(owners))


def _unique_edges(faces: IntArray) -> tuple[IntArray, IntArray]:
    """Return (e, 2) vertex pairs and for each the first face that has it."""
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    unique, first = np.unique(pairs, axis=0, return_index=True)
    return unique, (first % len(faces)).astype(np.int64)
