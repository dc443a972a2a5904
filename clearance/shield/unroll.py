"""Lay a piece of sheet flat with as little stretch as possible, and say how much is left.

As near to isometric as the surface allows: Tutte's embedding of the piece on a disc, which never folds over
(Tutte 1963, doi 10.1112/plms/s3-13.1.743), then the symmetric Dirichlet energy brought down with the rim free
(Rabinovich, Poranne, Panozzo and Sorkine-Hornung 2017, doi 10.1145/2983621), which keeps it so. What stretch is
left over is the surface's: by Gauss' theorem only what bends one way at a time lies flat without any.
"""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix, diags
from scipy.sparse.csgraph import dijkstra
from scipy.sparse.linalg import spsolve

from clearance.frames import Array
from clearance.scene.mesh import IntArray, Mesh
from clearance.shield.offset import edges_of, tidied

ROUNDS = 10
"""Steps of the solver between two looks at the stretch."""

MOST_ROUNDS = 100
"""Steps after which the stretch is taken as it is."""

SETTLED = 0.01
"""The solver has settled when a look finds the energy above a perfect fit's down by less than this share."""

PERFECT = 1e-8
"""Mean energy of a triangle above a perfect fit's, at which nothing is left to gain: a stretch of some 1e-5."""

NEAR_ALL = 0.99
"""Share of the area that the stated stretch covers; single slivers of the mesh may show more."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Flat:
    """A piece of sheet laid flat.

    Attributes
    ----------
    mesh : Mesh
        The piece as it stands in the bay, mm; cut open where it closes round on itself.
    places : (n, 2) float64
        Where each vertex lies on the flat sheet, mm, seen from outside.
    stretch : (m, 2) float64
        Least and largest factor by which lengths of each triangle change when it is laid flat.
    """

    mesh: Mesh
    places: Array
    stretch: Array

    @property
    def distortion(self) -> float:
        """Largest share by which a length in 99 % of the area is too long or too short."""
        off = np.abs(self.stretch - 1.0).max(axis=1)
        order = np.argsort(off)
        a, b, c = self.mesh.triangles.swapaxes(0, 1)
        below = np.cumsum(np.linalg.norm(np.cross(b - a, c - a), axis=1)[order])
        return float(off[order][np.searchsorted(below, NEAR_ALL * below[-1])])

    @property
    def worst_distortion(self) -> float:
        """The same over all triangles."""
        return float(np.abs(self.stretch - 1.0).max())

    @property
    def folded(self) -> bool:
        """Whether some triangle lies on its face or the sheet laps over itself along its rim."""
        return bool((signed_areas(self.places, self.mesh.faces) <= 0).any()) or _rim_crosses(self.places, self.rims)

    @property
    def rims(self) -> tuple[IntArray, ...]:
        """Loops of vertices round the rim, the longest first."""
        loops = [np.asarray(loop, dtype=np.int64) for loop in igl.boundary_loop_all(self.mesh.faces)]
        return tuple(sorted(loops, key=lambda loop: -_length(self.places[loop])))


def laid_flat(piece: Mesh) -> Flat:
    """Lay one connected piece flat; where it closes round on itself it is cut open first.

    Parameters
    ----------
    piece : Mesh
        Edges of one or two triangles, all wound alike, mm.

    Raises
    ------
    ValueError
        The piece has no rim, or a handle as a torus has.
    """
    mesh = _opened(tidied(piece))
    loops = igl.boundary_loop_all(mesh.faces)
    if len(loops) != 1 or len(mesh.vertices) - len(edges_of(mesh.faces)[0]) + len(mesh.faces) != 1:
        raise ValueError("a piece to lay flat needs a rim and no handles")
    rim = np.asarray(loops[0], dtype=np.int64)
    around = igl.map_vertices_to_circle(mesh.vertices, rim)
    start = np.asarray(_tutte(mesh, rim, np.asarray(around)[:, :2]))
    size = np.sqrt(_area(mesh) / np.abs(signed_areas(start, mesh.faces)).sum())
    places = _turned(_relaxed(mesh, start * size))
    return Flat(mesh=mesh, places=places, stretch=stretches(mesh, places))


def stretches(mesh: Mesh, places: Array) -> Array:
    """Return the singular values, least first, of the map of each triangle from the surface to the plane, (m, 2)."""
    a, b, c = mesh.triangles.swapaxes(0, 1)
    along = np.linalg.norm(b - a, axis=1)
    x = (b - a) / along[:, None]
    cx = np.einsum("ij,ij->i", c - a, x)
    cy = np.linalg.norm(c - a - cx[:, None] * x, axis=1)
    p, q, r = places[mesh.faces].swapaxes(0, 1)
    first = (q - p) / along[:, None]
    second = (r - p - cx[:, None] * first) / np.maximum(cy, 1e-12)[:, None]
    values: Array = np.linalg.svd(np.stack([first, second], axis=2), compute_uv=False)[:, ::-1]
    return values


def signed_areas(places: Array, faces: IntArray) -> Array:
    """Return the signed area of each flat triangle, (m,) mm²; positive counter-clockwise."""
    p, q, r = places[faces].swapaxes(0, 1)
    area: Array = ((q - p)[:, 0] * (r - p)[:, 1] - (q - p)[:, 1] * (r - p)[:, 0]) / 2
    return area


def _opened(mesh: Mesh) -> Mesh:
    """Cut the piece from rim to rim, each time the shortest way along edges, until it has one rim."""
    while len(loops := igl.boundary_loop_all(mesh.faces)) > 1:
        edges, _ = edges_of(mesh.faces)
        a, b = edges.T
        lengths = np.linalg.norm(mesh.vertices[a] - mesh.vertices[b], axis=1)
        n = len(mesh.vertices)
        ways = coo_matrix((lengths, (a, b)), shape=(n, n)).tocsr()
        away, before, _ = dijkstra(ways, directed=False, indices=loops[0], min_only=True, return_predecessors=True)
        others = np.concatenate([np.asarray(loop, dtype=np.int64) for loop in loops[1:]])
        at = int(others[np.argmin(away[others])])
        along = set[tuple[int, int]]()
        while (last := int(before[at])) >= 0:
            along.add((min(at, last), max(at, last)))
            at = last
        sides = np.sort(np.stack([mesh.faces, np.roll(mesh.faces, -1, axis=1)], axis=2), axis=2).tolist()
        cut = np.array([[tuple(side) in along for side in triangle] for triangle in sides])
        vertices, faces, _ = igl.cut_mesh(mesh.vertices, mesh.faces, cut)
        mesh = tidied(Mesh(np.asarray(vertices, np.float64), np.asarray(faces, np.int64)))
    return mesh


def _tutte(mesh: Mesh, rim: IntArray, around: Array) -> Array:
    """Every inner vertex at the mean of its neighbours, the rim on a circle."""
    n, edges = len(mesh.vertices), edges_of(mesh.faces)[0]
    a, b = edges.T
    ones: NDArray[np.float64] = np.ones(2 * len(edges))
    joined = coo_matrix((ones, (np.r_[a, b], np.r_[b, a])), shape=(n, n)).tocsr()
    laplace = csr_matrix(diags(np.asarray(joined.sum(axis=1)).ravel()) - joined)
    places = np.zeros((n, 2))
    places[rim] = around
    inner = np.setdiff1d(np.arange(n), rim)
    if len(inner):
        fixed = laplace[inner][:, rim] @ around
        places[inner] = np.asarray(spsolve(laplace[inner][:, inner].tocsc(), -fixed)).reshape(-1, 2)
    return places


def _relaxed(mesh: Mesh, start: Array) -> Array:
    """Bring down the symmetric Dirichlet energy with the rim free."""
    nothing = np.zeros(0, dtype=np.int32), np.zeros((0, 2), order="F")
    data = igl.slim_precompute(
        np.asfortranarray(mesh.vertices), np.asfortranarray(mesh.faces.astype(np.int32)), np.asfortranarray(start),
        igl.MappingEnergyType.SYMMETRIC_DIRICHLET, *nothing, 0.0,
    )  # fmt: skip
    places, before = start, np.inf
    for _ in range(0, MOST_ROUNDS, ROUNDS):
        places = np.asarray(igl.slim_solve(data, ROUNDS))[:, :2]
        square = stretches(mesh, places) ** 2
        energy = float(np.mean(square + 1 / np.maximum(square, 1e-300)) - 2)
        if energy < PERFECT or before - energy <= SETTLED * energy:
            break
        before = energy
    return places


def _turned(places: Array) -> Array:
    """Lay the longer way along x, with the corner of the box at the origin."""
    middle = places - places.mean(axis=0)
    _, _, axes = np.linalg.svd(middle, full_matrices=False)
    axes[1] *= np.sign(np.linalg.det(axes))
    turned = middle @ axes.T
    laid: Array = turned - turned.min(axis=0)
    return laid


def _rim_crosses(places: Array, rims: tuple[IntArray, ...]) -> bool:
    """Tell whether two stretches of the rim cross."""
    starts = np.concatenate([places[loop] for loop in rims])
    ends = np.concatenate([places[np.roll(loop, -1)] for loop in rims])
    way = ends - starts
    for i in range(len(starts)):
        side = _cross(way[i], starts - starts[i]) * _cross(way[i], ends - starts[i]) < 0
        other = _cross(way, starts[i] - starts) * _cross(way, ends[i] - starts) < 0
        if (side & other).any():
            return True
    return False


def _cross(a: Array, b: Array) -> Array:
    value: Array = a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]
    return value


def _area(mesh: Mesh) -> float:
    a, b, c = mesh.triangles.swapaxes(0, 1)
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)


def _length(loop: Array) -> float:
    return float(np.linalg.norm(loop - np.roll(loop, -1, axis=0), axis=1).sum())
