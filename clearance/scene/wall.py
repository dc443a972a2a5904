"""Thinnest wall of a closed mesh, about, by rays from its surface straight inwards. Not for a verdict."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import Mesh
from clearance.scene.rays import Rays

RAYS = 20_000
SEED = 1
OFFSET = 1e-5
"""Start of a ray below the surface, as a fraction of the bounding diagonal; float32 resolves 1e-7."""


@dataclass(frozen=True, eq=False)
class Wall:
    """Wall along inward rays: the thinnest, where it starts (3,), the 1 % quantile, and how many rays met a wall."""

    thinnest: float
    at: Array
    percentile_1: float
    rays: int


def thinnest_wall(mesh: Mesh, rays: int = RAYS) -> Wall | None:
    """Measure the wall below points spread evenly over the area of a closed, outward mesh.

    An upper bound of the true minimum: thinner places may lie between the rays, and along the normal a
    wall with slanting sides is longer than across. Single precision (Embree). None where no ray
    meets the other side, or the ray caster is not installed for this machine.
    """
    try:
        caster = Rays(mesh)
    except ImportError:
        return None
    start, inward = _surface_points(mesh, rays)
    offset = OFFSET * float(np.linalg.norm(np.ptp(mesh.vertices, axis=0)))
    found = caster.hits(start + offset * inward, inward)
    face = np.asarray(found["primID"], dtype=np.int64)
    corners = mesh.triangles[np.maximum(face, 0)]
    leaves = np.einsum("ij,ij->i", np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), inward) > 0
    met = np.flatnonzero((face >= 0) & leaves)
    if not len(met):
        return None
    length = np.asarray(found["tfar"], dtype=np.float64)[met] + offset
    least = int(length.argmin())
    return Wall(float(length[least]), start[met[least]], float(np.quantile(length, 0.01)), len(met))


def _surface_points(mesh: Mesh, count: int) -> tuple[Array, Array]:
    """Return random points, even over the area, and the unit normals into the mesh there."""
    random = np.random.default_rng(SEED)
    corners = mesh.triangles
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.linalg.norm(normal, axis=1)
    face = np.searchsorted(np.cumsum(area) / area.sum(), random.random(count)).clip(max=len(area) - 1)
    u, v = random.random((2, count, 1))
    u, v = np.where(u + v > 1, 1 - u, u), np.where(u + v > 1, 1 - v, v)
    a, b, c = (corners[face, k] for k in range(3))
    return a + u * (b - a) + v * (c - a), -normal[face] / area[face, None]
