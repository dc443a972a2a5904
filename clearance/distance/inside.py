"""Is a point inside a body? Distance between surfaces alone calls a swallowed body clear.

Inside means a winding number nearer to a whole turn than to none (Jacobson, Kavan and
Sorkine-Hornung 2013, doi 10.1145/2461912.2461916), which is also defined for open meshes.
"""

from __future__ import annotations

from functools import cached_property, lru_cache
from typing import Any

import igl
import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.cubes import cubes
from clearance.scene.mesh import IntArray, Mesh

EXACT_LIMIT = 20_000_000
"""Points x triangles up to which the exact winding number is used instead of the fast one."""

SMALL_MESH = 1000
"""Triangles up to which `Surface` uses the exact winding number."""

KEPT = 8
"""Meshes whose search trees are kept."""

RAY_BLOCK = 20_000
"""Triangles asked about at a time by rays."""


def winding_says_inside(mesh: Mesh, points: Array) -> NDArray[np.bool_]:
    """Tell for each of (n, 3) points, mm, whether |winding number| > 1/2."""
    if not len(points):
        return np.zeros(0, dtype=bool)
    compute = igl.winding_number if len(points) * len(mesh.faces) <= EXACT_LIMIT else igl.fast_winding_number
    turns = compute(np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces), np.ascontiguousarray(points))
    inside: NDArray[np.bool_] = np.abs(np.asarray(turns)) > 0.5
    return inside


def most_turns(mesh: Mesh, points: Array) -> float:
    """Return the largest |winding number| of (n, 3) points, mm: the share of all directions an open shell covers."""
    return float(np.abs(winding_turns(mesh, points)).max())


def winding_turns(mesh: Mesh, points: Array) -> Array:
    """Return the fast winding number, (n,), of (n, 3) points, mm."""
    turns = igl.fast_winding_number(
        np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces), np.ascontiguousarray(points)
    )
    return np.asarray(turns, dtype=np.float64)


def covered(mesh: Mesh, point: Array, directions: Array) -> float:
    """Return the share of (d, 3) directions in which a ray from `point` (3,), mm, meets the mesh, of any winding."""
    return float((crossings(mesh, point, directions) > 0).mean())


def crossings(mesh: Mesh, point: Array, directions: Array) -> IntArray:
    """Return how many triangles, (d,), a ray from `point` (3,), mm, along each of (d, 3) directions meets.

    A ray meets a triangle if it lies on the same side of the three planes through the point and an edge.
    """
    count = np.zeros(len(directions), np.int64)
    for start in range(0, len(mesh.faces), RAY_BLOCK):
        a, b, c = (mesh.vertices[mesh.faces[start : start + RAY_BLOCK]] - point).swapaxes(0, 1)
        sides = np.stack([np.cross(a, b), np.cross(b, c), np.cross(c, a)]) @ directions.T
        volume = np.einsum("ij,ij->i", a, np.cross(b, c))[:, None]
        met = ((sides >= 0).all(axis=0) & (volume > 0)) | ((sides <= 0).all(axis=0) & (volume < 0))
        count += met.sum(axis=0)
    return count


class Surface:
    """A mesh made ready for many questions: its search trees are built once.

    Parameters
    ----------
    mesh : Mesh
        mm. Open meshes have an inside too, by winding number.
    """

    def __init__(self, mesh: Mesh) -> None:
        self._vertices, self._faces = np.ascontiguousarray(mesh.vertices), np.ascontiguousarray(mesh.faces)
        self.low, self.high = self._vertices.min(axis=0), self._vertices.max(axis=0)
        self._tree = igl.AABB()
        self._tree.init(self._vertices, self._faces)

    @cached_property
    def _turns(self) -> Any:
        turns = igl.FastWindingNumberBVH()
        turns.init(self._vertices, self._faces)
        return turns

    def signed_distance(self, points: Array) -> tuple[Array, Array]:
        """Return (n,) distances to the surface, mm, negative inside, and (n, 3) closest points."""
        distance, _, closest = self.nearest(points)
        return distance, closest

    def nearest(self, points: Array, *, signed: bool = True) -> tuple[Array, IntArray, Array]:
        """Return (n,) distances, mm, negative inside if `signed`, (n,) nearest triangles and (n, 3) closest points."""
        if not len(points):
            return np.zeros(0), np.zeros(0, dtype=np.int64), np.zeros((0, 3))
        points = np.ascontiguousarray(points)
        squared, face, closest = self._tree.squared_distance(self._vertices, self._faces, points)
        distance: Array = np.sqrt(np.asarray(squared))
        if signed:
            boxed = np.flatnonzero(((points >= self.low) & (points <= self.high)).all(axis=1))
            distance[boxed[self.inside(points[boxed])]] *= -1
        return distance, np.asarray(face, dtype=np.int64), np.asarray(closest)

    def inside(self, points: Array) -> NDArray[np.bool_]:
        """Tell for each of (n, 3) points, mm, whether |winding number| > 1/2."""
        if not len(points):
            return np.zeros(0, dtype=bool)
        if len(self._faces) <= SMALL_MESH:
            turns = igl.winding_number(self._vertices, self._faces, points)
        else:
            turns = self._turns.winding_number(points)
        inside: NDArray[np.bool_] = np.abs(np.asarray(turns)) > 0.5
        return inside


@lru_cache(maxsize=KEPT)
def surface_of(mesh: Mesh) -> Surface:
    """Return a mesh made ready for questions; the last few are kept, for one part is asked about many zones."""
    return Surface(mesh)


def unsigned_distance(mesh: Mesh, points: Array) -> tuple[Array, Array]:
    """Return (n,) distances to the surface, mm, and (n, 3) closest points (libigl, float64)."""
    distance, _, closest = surface_of(mesh).nearest(points, signed=False)
    return distance, closest


def any_inside(mesh: Mesh, points: Array, cell_mm: float = 10.0) -> bool:
    """Tell whether any of (n, 3) points, none of them on the surface, lies inside `mesh`.

    Points are grouped in cubes. All points of a cube lie on the same side where the surface is
    farther from one of them than the cube's diagonal; only the rest are asked one by one.
    """
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    points = points[((points >= low) & (points <= high)).all(axis=1)]
    if len(points) < 1000:
        return _some_inside(mesh, points)
    first, group = cubes(points, cell_mm)
    speakers = points[first]
    if _some_inside(mesh, speakers):
        return True
    distance, _ = unsigned_distance(mesh, speakers)
    unsure = (distance <= cell_mm * np.sqrt(3.0) * (1 + 1e-9))[group]
    return _some_inside(mesh, points[unsure])


def _some_inside(mesh: Mesh, points: Array) -> bool:
    """Ask a large mesh by a search tree that is kept: `winding_says_inside` builds one at every call."""
    if not len(points):
        return False
    asked = winding_says_inside(mesh, points) if len(mesh.faces) <= SMALL_MESH else surface_of(mesh).inside(points)
    return bool(asked.any())


@lru_cache(maxsize=KEPT)
def one_vertex_per_body(mesh: Mesh) -> Array:
    """Return one vertex, (k, 3) mm, of each connected piece of `mesh`."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    f, n = mesh.faces, len(mesh.vertices)
    rows = np.concatenate([f[:, 0], f[:, 1]])
    columns = np.concatenate([f[:, 1], f[:, 2]])
    graph = coo_matrix((np.ones(len(rows), dtype=np.int8), (rows, columns)), shape=(n, n))
    _, label = connected_components(graph, directed=False)
    used = np.unique(f)
    _, first = np.unique(label[used], return_index=True)
    vertices: Array = mesh.vertices[used[first]]
    return vertices


def nearest_face(mesh: Mesh, point: Array) -> int:
    """Return the index of the triangle nearest to a (3,) point, mm."""
    _, face, _ = igl.point_mesh_squared_distance(point[None], mesh.vertices, mesh.faces)
    return int(np.ravel(face)[0])
