"""Is a mesh closed and consistently wound? Counts faults and measures volume; repairs nothing but the sign.

Two triangles count as joined where they name the same two vertices, so equal vertices must have
been merged before (`mesh_io` does).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from clearance.frames import Array
from clearance.scene.mesh import Mesh


@dataclass(frozen=True, eq=False, kw_only=True)
class MeshHealth:
    """Findings about one mesh.

    Attributes
    ----------
    watertight : bool
        Every edge is shared by exactly two triangles that run along it in opposite directions.
    boundary_edges : int
        Edges of one triangle only.
    non_manifold_edges : int
        Edges of three or more triangles.
    flipped_edges : int
        Edges whose two triangles run the same way: their sides are swapped.
    pieces : int
        Pieces that share no vertex.
    volume_mm3 : float or None
        Enclosed volume, negative if inside out; None unless watertight.
    area_mm2 : float
    low, high : (3,) float64
        Corners of the bounding box, mm.
    """

    watertight: bool
    boundary_edges: int
    non_manifold_edges: int
    flipped_edges: int
    pieces: int
    volume_mm3: float | None
    area_mm2: float
    low: Array
    high: Array

    @property
    def inside_out(self) -> bool:
        """Whether the normals of a watertight mesh point inwards."""
        return self.volume_mm3 is not None and self.volume_mm3 < 0


def health(mesh: Mesh) -> MeshHealth:
    """Examine a mesh, mm."""
    users, balance = _edge_use(mesh)
    watertight = _paired(users, balance)
    return MeshHealth(
        watertight=watertight,
        boundary_edges=int((users == 1).sum()),
        non_manifold_edges=int((users > 2).sum()),
        flipped_edges=int(((users == 2) & (balance != 0)).sum()),
        pieces=pieces(mesh),
        volume_mm3=signed_volume(mesh) if watertight else None,
        area_mm2=surface_area(mesh),
        low=mesh.vertices.min(axis=0),
        high=mesh.vertices.max(axis=0),
    )


def closed(mesh: Mesh) -> bool:
    """Tell whether the mesh bounds a solid: every edge shared by exactly two triangles, opposite ways."""
    return _paired(*_edge_use(mesh))


def signed_volume(mesh: Mesh) -> float:
    """Return the volume, mm3, by the divergence theorem: sum of a . (b x c) / 6 about the box's middle."""
    middle = 0.5 * (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0))
    a, b, c = (mesh.vertices[mesh.faces[:, k]] - middle for k in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def surface_area(mesh: Mesh) -> float:
    """Return the area, mm2."""
    a, b, c = (mesh.vertices[mesh.faces[:, k]] for k in range(3))
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2.0)


def pieces(mesh: Mesh) -> int:
    """Return the number of pieces that share no vertex."""
    used, corners = np.unique(mesh.faces, return_inverse=True)
    corners = corners.reshape(-1, 3)
    start, end = corners[:, [0, 1]].ravel(), corners[:, [1, 2]].ravel()
    graph = coo_array((np.ones(len(start), dtype=np.int8), (start, end)), shape=(len(used), len(used)))
    count, _ = connected_components(graph.tocsr(), directed=False)
    return int(count)


def _edge_use(mesh: Mesh) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return for each edge how many triangles use it, and uses one way less uses the other way."""
    start, end = mesh.faces.ravel(), mesh.faces[:, [1, 2, 0]].ravel()
    name = np.minimum(start, end) * len(mesh.vertices) + np.maximum(start, end)
    order = np.argsort(name)
    name = name[order]
    first = np.flatnonzero(np.r_[True, name[1:] != name[:-1]])
    users = np.diff(np.r_[first, len(name)])
    balance = np.add.reduceat(np.where(start < end, 1, -1)[order], first)
    return users.astype(np.int64), balance.astype(np.int64)


def _paired(users: NDArray[np.int64], balance: NDArray[np.int64]) -> bool:
    """Whether every edge has two users, one each way."""
    return bool((users == 2).all() and (balance == 0).all())
