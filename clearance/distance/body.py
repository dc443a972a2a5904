"""Bodies for the distance engine: triangles, some degenerate, each owned by a source primitive.

A scan point is a triangle with three equal corners. A body that slides along up to three directions
becomes, exactly, the set it sweeps: a point becomes a segment, a parallelogram or the surface of a
parallelepiped, a triangle the surface of its Minkowski sum with that.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product

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
    """Translations a body takes: base + the sum of share[i] * edges[i], each share in [0, 1].

    Attributes
    ----------
    base : (3,) float64, mm
    edges : (k, 3) float64, mm, k = 0 to 3
    """

    base: Array
    edges: Array

    def reversed(self) -> Slide:
        """Return the set of the opposite translations."""
        return Slide(-self.base, -self.edges)

    def plus(self, other: Slide) -> Slide:
        """Return the translations that are one of each: the Minkowski sum."""
        return Slide(self.base + other.base, np.vstack([self.edges, other.edges]))

    def turned(self, rotation: Array) -> Slide:
        """Return the same translations in a frame turned by `rotation` (3, 3)."""
        return Slide(rotation @ self.base, self.edges @ rotation.T)

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
    """Return (n, 3) points, mm, as the set they sweep over `slide`: exact, of a solid the surface."""
    n, k = len(points), len(slide.edges)
    index = np.arange(n, dtype=np.int64)
    vertices = np.concatenate([points + slide.base + c for c in _corners(slide)])
    if k == 0:
        faces = [np.repeat(index[:, None], 3, axis=1)]
    elif k == 1:
        faces = [np.stack([index, index + n, index + n], axis=1)]
    else:
        faces = [np.stack([index + c * n for c in half], axis=1) for quad in _quads(k) for half in (quad[:3], quad[1:])]
    return Body(vertices, np.concatenate(faces), np.tile(index, len(faces)))


def mesh_body(mesh: Mesh, slide: Slide = STILL) -> Body:
    """Return `mesh` as a body; over a slide, a set of triangles that lies in the swept solid and holds its surface.

    The Minkowski sum of a triangle with a segment, parallelogram or parallelepiped is bounded by copies
    of the triangle at the corners, copies of the parallelograms at its vertices, and edge x edge
    parallelograms. All of these are kept, so the distance from outside is exact; whether a body lies
    wholly inside is a separate question (`sweep` asks it).
    """
    faces, n, k = mesh.faces, len(mesh.vertices), len(slide.edges)
    owner = np.arange(len(faces), dtype=np.int64)
    corners = _corners(slide)
    vertices = np.concatenate([mesh.vertices + slide.base + c for c in corners])
    soup = [faces + i * n for i in range(len(corners))]
    owners = [owner] * len(corners)
    if k:
        ends, edge_owner = _unique_edges(faces)
        a, b = ends[:, 0], ends[:, 1]
        for low, high in _sides(k):
            soup += [np.stack([a + low * n, b + low * n, a + high * n], axis=1)]
            soup += [np.stack([b + low * n, a + high * n, b + high * n], axis=1)]
            owners += [edge_owner, edge_owner]
    if k > 1:
        used, first_face = np.unique(faces.ravel(), return_index=True)
        for quad in _quads(k):
            for half in (quad[:3], quad[1:]):
                soup.append(np.stack([used + c * n for c in half], axis=1))
                owners.append(owner[first_face // 3])
    return Body(vertices, np.concatenate(soup), np.concatenate(owners))


def _corners(slide: Slide) -> list[Array]:
    """Translations to the 2^k corners, less the base; bit i of a corner's place says whether edge i is in it."""
    corners = [np.zeros(3)]
    for edge in slide.edges:
        corners += [c + edge for c in corners]
    return corners


def _sides(k: int) -> list[tuple[int, int]]:
    """Return the pairs of corners that an edge of the slide joins."""
    return [(c, c | 1 << i) for i in range(k) for c in range(2**k) if not c >> i & 1]


def _quads(k: int) -> list[tuple[int, int, int, int]]:
    """Return the parallelograms of corners that two edges of the slide span; of three edges, its six faces."""
    pairs = [(1 << i, 1 << j) for i, j in combinations(range(k), 2)]
    return [(c, c | a, c | b, c | a | b) for a, b in pairs for c in range(2**k) if not c & (a | b)]


def _unique_edges(faces: IntArray) -> tuple[IntArray, IntArray]:
    """Return (e, 2) vertex pairs and for each the first face that has it."""
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    unique, first = np.unique(pairs, axis=0, return_index=True)
    return unique, (first % len(faces)).astype(np.int64)
