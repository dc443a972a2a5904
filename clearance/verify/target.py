"""The part made ready for questions: libigl for points, and which of its triangles are near a place."""

from __future__ import annotations

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.scene.mesh import Mesh

Index = NDArray[np.int64]


class Target:
    """A mesh, mm, float64, in coordinates near its own origin, that may grow by a factor about an anchor.

    A point is as far from the grown mesh as the factor times its image, shrunk by it, is from the mesh as it is.
    """

    def __init__(self, mesh: Mesh, anchor: Array | None = None) -> None:
        self.mesh, self.anchor = mesh, np.zeros(3) if anchor is None else anchor
        self._vertices = np.ascontiguousarray(mesh.vertices, dtype=np.float64)
        self._faces = np.ascontiguousarray(mesh.faces, dtype=np.int64)
        self._tree = igl.AABB()
        self._tree.init(self._vertices, self._faces)
        self.triangles = mesh.triangles
        used = self._vertices[np.unique(self._faces)]
        self.radius = float(np.linalg.norm(used - self.anchor, axis=1).max())
        self.low, self.high = used.min(axis=0), used.max(axis=0)
        self._middles = self.triangles.mean(axis=1)
        self._radii = np.linalg.norm(self.triangles - self._middles[:, None], axis=2).max(axis=1)
        size = np.ceil(np.log2(np.maximum(self._radii, 1e-6))).astype(np.int64)
        self._classes = [
            (ids, cKDTree(self._middles[ids]), float(self._radii[ids].max()))
            for ids in (np.flatnonzero(size == s) for s in np.unique(size))
        ]

    def shrunk(self, points: Array, factor: Array | float) -> Array:
        """Return where (n, 3) points by the mesh grown by `factor` lie by the mesh as it is."""
        back: Array = self.anchor + (points - self.anchor) / np.reshape(factor, (-1, 1))
        return back

    def grown(self, which: Index, factor: Array) -> Array:
        """Return the triangles `which` (m,), each grown by its factor (m,): (m, 3, 3)."""
        corners: Array = self.anchor + factor[:, None, None] * (self.triangles[which] - self.anchor)
        return corners

    def distance(self, points: Array, factor: Array | float = 1.0) -> Array:
        """Distances (n,) of (n, 3) points to the surface, mm (libigl)."""
        if not len(points):
            return np.zeros(0)
        asked = np.ascontiguousarray(self.shrunk(points, factor))
        squared, _, _ = self._tree.squared_distance(self._vertices, self._faces, asked)
        distance: Array = factor * np.sqrt(np.asarray(squared, dtype=np.float64))
        return distance

    def box_distance(self, points: Array, factor: Array | float = 1.0) -> Array:
        """Distances (n,) of points to the mesh's box, mm: never more than to its surface."""
        at = self.shrunk(points, factor)
        beyond: Array = np.maximum(np.maximum(self.low - at, at - self.high), 0.0)
        distance: Array = factor * np.linalg.norm(beyond, axis=1)
        return distance

    def inside(self, points: Array) -> NDArray[np.bool_]:
        """Tell which of (n, 3) points lie inside, by libigl's exact winding number."""
        found = np.zeros(len(points), dtype=bool)
        boxed = np.flatnonzero(((points >= self.low) & (points <= self.high)).all(axis=1))
        if len(boxed):
            found[boxed] = np.abs(self.turns(points[boxed])) > 0.5
        return found

    def turns(self, points: Array) -> Array:
        """Winding numbers (n,) of the mesh about points."""
        asked = np.ascontiguousarray(points)
        if len(asked) * len(self._faces) > 50_000_000:
            return np.asarray(igl.fast_winding_number(self._vertices, self._faces, asked), dtype=np.float64)
        return np.asarray(igl.winding_number(self._vertices, self._faces, asked), dtype=np.float64)

    def near(self, points: Array, reach: Array, factor: Array | float = 1.0) -> tuple[Index, Index]:
        """Return pairs (point, triangle) that hold every triangle, grown by `factor`, within `reach` of a point."""
        points, reach = self.shrunk(points, factor), reach / factor
        asked, found = [], []
        for ids, tree, widest in self._classes:
            lists = tree.query_ball_point(points, reach + widest)
            counts = np.array([len(x) for x in lists], dtype=np.int64)
            if not counts.sum():
                continue
            who = np.repeat(np.arange(len(points)), counts)
            which = ids[np.concatenate([np.asarray(x, dtype=np.int64) for x in lists if x])]
            apart = np.linalg.norm(points[who] - self._middles[which], axis=1) - self._radii[which]
            keep = apart <= reach[who] + 1e-9
            who, which = who[keep], which[keep]
            keep = distance_to_triangles(points[who], self.triangles[which]) <= reach[who] + 1e-9
            asked.append(who[keep])
            found.append(which[keep])
        if not asked:
            return np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
        return np.concatenate(asked), np.concatenate(found)


def distance_to_triangles(points: Array, triangles: Array) -> Array:
    """Return the distance (n,), mm, of each of (n, 3) points from its triangle (n, 3, 3): its plane's or an edge's."""
    away = points[:, None] - triangles
    edges = np.roll(triangles, -1, axis=1) - triangles
    length = np.einsum("nki,nki->nk", edges, edges)
    share = np.clip(np.einsum("nki,nki->nk", away, edges) / np.maximum(length, 1e-300), 0.0, 1.0)
    to_edges: Array = np.linalg.norm(away - share[:, :, None] * edges, axis=2).min(axis=1)
    normal = np.cross(edges[:, 0], edges[:, 1])
    size = np.linalg.norm(normal, axis=1)
    sides = np.einsum("nki,ni->nk", np.cross(edges, away), normal)
    to_plane = np.abs(np.einsum("ni,ni->n", away[:, 0], normal)) / np.maximum(size, 1e-300)
    return np.where((sides >= 0).all(axis=1) & (size > 0), np.minimum(to_plane, to_edges), to_edges)
