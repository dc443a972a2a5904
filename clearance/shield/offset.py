"""The surface at a standoff from the part: an iso-surface of the exact distance, drawn smooth, never nearer.

An offset of a concave mesh cuts through itself; an iso-surface of the distance does not.
"""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix, diags

from clearance.distance.body import mesh_body
from clearance.distance.fcl_engine import FclBody
from clearance.distance.inside import Surface
from clearance.frames import Array
from clearance.scene.mesh import IntArray, Mesh

BLOCK = 4
"""Grid steps, each way, over which one distance speaks where the surface is far."""

MOST_GRID_POINTS = 12_000_000
"""A grid with more points is refused: it would not fit in memory."""

SMOOTHINGS = 12
"""Rounds of smoothing, each followed by a push back out to the standoff."""

NEARER_MM = 0.05
"""A finished surface comes nowhere nearer to the part than the standoff less this."""

MOST_PUSHES = 4
"""Times the surface is pushed out by what its facets cut short."""


@dataclass(frozen=True, eq=False)
class Level:
    """A surface at one distance all around some of the part.

    Attributes
    ----------
    mesh : Mesh
        Its normals point away from the part.
    nearest : (n, 3) float64
        For each vertex the nearest point of the part, mm.
    """

    mesh: Mesh
    nearest: Array


def level_surface(surface: Surface, low: Array, high: Array, distance_mm: float, grid_mm: float) -> Level:
    """Return the surface at `distance_mm` outside a part, within the box from `low` to `high`, mm.

    Marching cubes (Lorensen and Cline 1987, doi 10.1145/37402.37422) on exact signed distances; every
    vertex is then moved along the distance's gradient onto the level. Where the nearest point of the
    part jumps (over a crease) a vertex may stay off it by up to half a grid step.

    Raises
    ------
    ValueError
        The grid would have too many points.
    """
    count = np.ceil((high - low) / (grid_mm * BLOCK)).astype(np.int64) * BLOCK + 1
    if float(count.prod(dtype=np.float64)) > MOST_GRID_POINTS:
        raise ValueError(f"a grid of {grid_mm:g} mm over {np.round(high - low)} mm has too many points")
    values = _distances(surface, low, count, distance_mm, grid_mm)
    places = low + grid_mm * np.stack(np.meshgrid(*map(np.arange, count), indexing="ij"), axis=-1)
    vertices, faces, _ = igl.marching_cubes(
        values.ravel(order="F"), places.reshape(-1, 3, order="F"), *(int(n) for n in count), distance_mm
    )
    mesh = tidied(Mesh(np.asarray(vertices, np.float64), np.asarray(faces, np.int64)))
    if not len(mesh.faces):
        return Level(mesh, np.zeros((0, 3)))
    moved, nearest = _onto(surface, mesh.vertices, distance_mm)
    mesh = Mesh(moved, mesh.faces)
    if np.einsum("ij,ij->", vertex_normals(mesh), moved - nearest) < 0:
        mesh = Mesh(moved, mesh.faces[:, ::-1].copy())
    return Level(mesh, nearest)


def _distances(surface: Surface, low: Array, count: IntArray, distance_mm: float, grid_mm: float) -> Array:
    """Signed distances at all grid points; far from the level, those of the middle of the block they lie in."""
    blocks = (count + BLOCK - 1) // BLOCK
    corner = np.stack(np.meshgrid(*map(np.arange, blocks), indexing="ij"), axis=-1).reshape(-1, 3)
    middles = low + grid_mm * (corner * BLOCK + (BLOCK - 1) / 2)
    of_block, _ = surface.signed_distance(middles)
    reach = grid_mm * ((BLOCK - 1) / 2 * np.sqrt(3.0) + 1.0)
    values = np.repeat(np.repeat(np.repeat(of_block.reshape(blocks), BLOCK, 0), BLOCK, 1), BLOCK, 2)
    values = np.ascontiguousarray(values[: count[0], : count[1], : count[2]])
    near = np.argwhere(np.abs(values - distance_mm) <= reach)
    values[tuple(near.T)] = surface.signed_distance(low + grid_mm * near)[0]
    return values


def _onto(surface: Surface, points: Array, distance_mm: float) -> tuple[Array, Array]:
    """Move points along the distance's gradient to the level; return them and their nearest points of the part."""
    moved = points
    for _ in range(3):
        distance, nearest = surface.signed_distance(moved)
        away = (moved - nearest) / np.where(np.abs(distance) > 0, distance, 1.0)[:, None]
        moved = moved + np.clip(distance_mm - distance, -distance_mm / 4, distance_mm / 4)[:, None] * away
    return moved, surface.signed_distance(moved)[1]


def drawn_smooth(mesh: Mesh, part: Mesh, distance_mm: float) -> tuple[Mesh, float]:
    """Smooth an open surface that stands off a part, and push it out until no place is nearer than promised.

    Each round moves every vertex half way to the mean of its neighbours (on the rim: of those along the
    rim) and then out again to `distance_mm`, so that hollows are bridged and rounded and nothing
    else is lost. The facets between vertices may still cut nearer: the exact distance of the two
    meshes is measured and the level raised by what it lacks.

    Returns
    -------
    (Mesh, float)
        The surface and its exact least distance to the part, mm, a lower bound; at least
        `distance_mm - NEARER_MM`.

    Raises
    ------
    ValueError
        Pushing did not bring the surface out that far.
    """
    surface, body, mean, level = Surface(part), FclBody(mesh_body(part)), neighbour_means(mesh), distance_mm
    points = mesh.vertices
    for rounds in (SMOOTHINGS, *(1,) * MOST_PUSHES):
        for _ in range(rounds):
            points = _pushed(surface, (points + mean @ points) / 2, level)
        own = FclBody(mesh_body(Mesh(points, mesh.faces)))
        found = own.closest(body).distance_mm - own.excess_mm(body)
        if found >= distance_mm - NEARER_MM:
            return Mesh(points, mesh.faces), found
        level += distance_mm - found
    raise ValueError(f"the surface stays nearer to the part than {distance_mm:g} mm: {found:g} mm")


def _pushed(surface: Surface, points: Array, level_mm: float) -> Array:
    """Move what is nearer to the part than the level out to it, along the distance's gradient."""
    for _ in range(2):
        distance, nearest = surface.signed_distance(points)
        away = (points - nearest) / np.where(np.abs(distance) > 0, distance, 1.0)[:, None]
        points = points + np.clip(level_mm - distance, 0.0, level_mm)[:, None] * away
    return points


def neighbour_means(mesh: Mesh) -> csr_matrix:
    """Return the (n, n) matrix that takes each vertex to the mean of its neighbours, rim vertices along the rim."""
    n, edges, rim = len(mesh.vertices), *edges_of(mesh.faces)
    on_rim = np.zeros(n, dtype=bool)
    on_rim[edges[rim]] = True
    counts = rim | ~on_rim[edges].any(axis=1)
    a, b = edges.T
    inwards = [(a, b, counts | ~on_rim[a]), (b, a, counts | ~on_rim[b])]
    rows = np.concatenate([x[use] for x, _, use in inwards])
    columns = np.concatenate([y[use] for _, y, use in inwards])
    ones: NDArray[np.float64] = np.ones(len(rows))
    joined = coo_matrix((ones, (rows, columns)), shape=(n, n)).tocsr()
    total = np.asarray(joined.sum(axis=1)).ravel()
    lone: NDArray[np.float64] = (total == 0).astype(np.float64)
    return csr_matrix(diags(1.0 / np.maximum(total, 1.0)) @ joined + diags(lone))


def edges_of(faces: IntArray) -> tuple[IntArray, NDArray[np.bool_]]:
    """Return (e, 2) edges and whether each is of one triangle only."""
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    edges, times = np.unique(pairs, axis=0, return_counts=True)
    return edges, times == 1


def vertex_normals(mesh: Mesh) -> Array:
    """Return (n, 3) unit normals, the mean of the triangles' about each vertex by area."""
    a, b, c = mesh.triangles.swapaxes(0, 1)
    of_face = np.cross(b - a, c - a)
    normals = np.zeros_like(mesh.vertices)
    for corner in mesh.faces.T:
        np.add.at(normals, corner, of_face)
    unit: Array = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    return unit


def tidied(mesh: Mesh) -> Mesh:
    """Return the mesh without triangles that name a vertex twice and without vertices that none names."""
    a, b, c = mesh.faces.T
    faces = mesh.faces[(a != b) & (b != c) & (c != a)]
    used, index = np.unique(faces, return_inverse=True)
    return Mesh(mesh.vertices[used], index.reshape(-1, 3).astype(np.int64))
