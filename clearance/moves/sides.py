"""The two sides of a demand: their poses after a move, what they sweep, and their points thinned."""

from __future__ import annotations

import numpy as np

from clearance.distance.body import STILL, Body, Slide, mesh_body, point_body
from clearance.frames import Array
from clearance.moves.demand import Demand, Solid
from clearance.moves.space import rotation_of
from clearance.scene.cubes import cubes
from clearance.scene.mesh import Mesh

THINNED_MM = (16.0, 8.0, 4.0, 2.0, 1.0)
"""Sides of the cubes of which one scan point stands for all, where a cell is so large that it does not matter."""

Rigid = tuple[Array, Array]


def power(move: Array, power: int) -> Rigid:
    """Return the move, its inverse or standing still, coordinates about the centre of the moves."""
    if power == 0:
        return np.eye(3), np.zeros(3)
    rotation = rotation_of(move)
    return (rotation, move[:3]) if power > 0 else (rotation.T, -rotation.T @ move[:3])


def after(second: Rigid, first: Rigid) -> Rigid:
    """Return one rigid motion after another."""
    return second[0] @ first[0], second[0] @ first[1] + second[1]


def stroke_slide(demand: Demand) -> Slide:
    """Return the zone's stroke as a set of translations in its own frame."""
    if demand.stroke is None:
        return STILL
    low, high = demand.stroke.range_mm
    edges = [(high - low) * demand.stroke.direction] if high > low else []
    return Slide(low * demand.stroke.direction, np.array(edges).reshape(-1, 3))


def swept(solid: Solid, slide: Slide) -> Body:
    """Return a body as what it sweeps over some translations."""
    return mesh_body(solid, slide) if isinstance(solid, Mesh) else point_body(solid, slide)


def thinned(solid: Solid) -> tuple[list[Solid], list[float]]:
    """Return a zone's points ever less thinned, and how far at most a point is from the one that stands for it, mm."""
    made, losses = list[Solid](), list[float]()
    if not isinstance(solid, Mesh):
        for side in THINNED_MM:
            first, group = cubes(solid, side)
            if len(first) < 0.7 * len(solid):
                made.append(solid[first])
                losses.append(float(np.linalg.norm(solid - solid[first][group], axis=1).max()))
    return [*made, solid], [*losses, 0.0]


def trimmed(solid: Solid, origin: Array) -> Solid:
    """Return a body about `origin` without the vertices that no triangle uses."""
    if not isinstance(solid, Mesh):
        return solid - origin
    used, faces = np.unique(solid.faces, return_inverse=True)
    return Mesh(solid.vertices[used] - origin, faces.reshape(-1, 3).astype(np.int64))


def longest(solid: Solid) -> float:
    """Return the longest edge, mm; 0 of points."""
    if not isinstance(solid, Mesh):
        return 0.0
    edges = solid.triangles - np.roll(solid.triangles, 1, axis=1)
    return float(np.linalg.norm(edges, axis=2).max())


def radii(points: Array, point: Array, direction: Array) -> Array:
    """Return the distance, (n,) mm, of points from an axis."""
    away = points - point
    radii: Array = np.linalg.norm(away - np.outer(away @ direction, direction), axis=1)
    return radii
