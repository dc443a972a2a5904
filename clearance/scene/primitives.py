"""Primitive bodies as triangle meshes that hold the true body, outside it by at most `FACET_MM`."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array, unit_vector
from clearance.job.where import Box, Rod, Sphere, Where
from clearance.scene.mesh import Mesh

FACET_MM = 0.05
"""Farthest a flat facet stands outside the round surface it replaces, mm."""

BOX_FACES = np.array(
    [[0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4],
     [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5]], dtype=np.int64
)  # fmt: skip


def box_mesh(box: Box) -> Mesh:
    """Return the 12 triangles of a box, normals outward."""
    low, high = np.array(box.min), np.array(box.max)
    corner = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=np.float64)
    return Mesh(low + corner * (high - low), BOX_FACES)


def solid_mesh(where: Where) -> tuple[Mesh, float]:
    """Return the mesh of a `solid = true` primitive, bay frame, mm, and by how much it may stand outside, mm."""
    if where.box is not None:
        return box_mesh(where.box), 0.0
    if where.cylinder is not None:
        return _rod(where.cylinder, round_ends=False), FACET_MM
    if where.capsule is not None:
        return _rod(where.capsule, round_ends=True), FACET_MM
    if where.sphere is not None:
        return _turned(np.array(where.sphere.center), np.array([0.0, 0, 1]), 0.0, where.sphere.diameter / 2), FACET_MM
    raise ValueError("not a primitive")


def inside_of(where: Where, points: Array) -> NDArray[np.bool_]:
    """Tell which of (n, 3) points, bay frame, mm, lie in the primitive, surface included."""
    if where.box is not None:
        return np.asarray(((points >= where.box.min) & (points <= where.box.max)).all(axis=1))
    if where.sphere is not None:
        return np.asarray(_from_middle(where.sphere, points) <= where.sphere.diameter / 2)
    rod = where.cylinder or where.capsule
    if rod is None:
        raise ValueError("not a primitive")
    start, along = np.array(rod.from_), np.subtract(rod.to, rod.from_)
    share = (points - start) @ along / (along @ along)
    foot = start + np.clip(share, 0, 1)[:, None] * along
    near = np.linalg.norm(points - foot, axis=1) <= rod.diameter / 2
    return np.asarray(near if where.capsule is not None else near & (share >= 0) & (share <= 1))


def _from_middle(sphere: Sphere, points: Array) -> Array:
    away: Array = np.linalg.norm(points - np.array(sphere.center), axis=1)
    return away


def _rod(rod: Rod, *, round_ends: bool) -> Mesh:
    start, end = np.array(rod.from_), np.array(rod.to)
    length = float(np.linalg.norm(end - start))
    if round_ends:
        return _turned(start, end - start, length, rod.diameter / 2)
    profile = np.array([[0, 0], [rod.diameter / 2, 0], [rod.diameter / 2, length], [0, length]])
    return _revolved(profile, start, end - start)


def _turned(start: Array, along: Array, length: float, radius: float) -> Mesh:
    """Capsule of axis length `length` (0: a sphere), its profile a polyline tangent to the arcs from outside."""
    quarter = max(2, int(np.ceil(np.pi / 4 / _half_angle(radius))))
    step = np.pi / 2 / quarter
    corner = -np.pi / 2 + step * (np.arange(quarter) + 0.5)
    out = radius / np.cos(step / 2)
    low = np.vstack([[0, -radius], np.column_stack([out * np.cos(corner), out * np.sin(corner)]), [radius, 0]])
    high = low[::-1] * (1, -1) + (0, length)
    return _revolved(np.vstack([low, high if length > 0 else high[1:]]), start, along)


def _revolved(profile: Array, start: Array, along: Array) -> Mesh:
    """Turn a profile (k, 2) of radius and height, ends on the axis, about the axis; flats lie outside the circles."""
    half = _half_angle(float(profile[:, 0].max()))
    sides = max(8, int(np.ceil(np.pi / half)))
    angle = 2 * np.pi * np.arange(sides) / sides
    w = unit_vector(along)
    u = unit_vector(np.cross(w, np.eye(3)[int(np.argmin(np.abs(w)))]))
    ring = np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * np.cross(w, u)
    body = profile[1:-1]
    rings = (body[:, 0, None, None] / np.cos(np.pi / sides)) * ring + body[:, 1, None, None] * w
    vertices = start + np.vstack([profile[0, 1] * w, rings.reshape(-1, 3), profile[-1, 1] * w])
    here = 1 + np.arange(len(body) * sides).reshape(len(body), sides)
    beside = np.roll(here, -1, axis=1)
    last = len(vertices) - 1
    faces = [
        np.stack([np.zeros(sides, np.int64), beside[0], here[0]], axis=1),
        np.stack([here[:-1], beside[:-1], beside[1:]], axis=-1).reshape(-1, 3),
        np.stack([here[:-1], beside[1:], here[1:]], axis=-1).reshape(-1, 3),
        np.stack([np.full(sides, last), here[-1], beside[-1]], axis=1),
    ]
    return Mesh(vertices, np.concatenate(faces).astype(np.int64))


def _half_angle(radius: float) -> float:
    """Half the angle of a chord whose tangents meet no more than half of `FACET_MM` outside the circle."""
    return float(np.arccos(radius / (radius + FACET_MM / 2)))
