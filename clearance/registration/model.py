"""What is looked for in a scan: the outside of a part or of an engine, as points with outward normals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.registration.cloud import CloudModel
from clearance.scene.mesh import Mesh
from clearance.scene.open3d_import import open3d

SAMPLES = 12_000
"""Points drawn on a mesh before hidden ones are left out."""

DIRECTIONS = 96
"""Directions from which a place may be seen."""

LEAST_COSINE = 0.17
"""Flatter than this (80 degrees) nothing is seen."""

LIFT = 1e-4
"""Rays start this share of the diagonal off the surface, so that they do not meet it where they start."""

SEED = 20_241


@dataclass(frozen=True, eq=False)
class Model:
    """Surface that a scan can show, in the model's own frame.

    Attributes
    ----------
    points, normals : (n, 3) float64, mm
    signed : bool
        Whether the normals are known to point out of the material.
    surface : Mesh or CloudModel
        What is fitted in the end.
    """

    points: Array
    normals: Array
    signed: bool
    surface: Mesh | CloudModel

    @property
    def diagonal_mm(self) -> float:
        """Diagonal of the box about the points."""
        return float(np.linalg.norm(np.ptp(self.points, axis=0)))


def shape_model(surface: Mesh | CloudModel) -> Model:
    """Return the places of a mesh or of a scan that can be seen from outside.

    Of a mesh, places are drawn evenly by area (seeded). One is kept if some direction, of `DIRECTIONS`
    spread evenly over the sphere (Fibonacci lattice), leads out unhindered; the normal points to that
    side, whichever way the triangles run, and an open sheet that shows both sides is kept twice. All
    points of a scan were seen.
    """
    if isinstance(surface, CloudModel):
        return Model(surface.points, surface.normals, False, surface)
    points, normals = _drawn(surface)
    shift = LIFT * float(np.linalg.norm(np.ptp(surface.vertices, axis=0)))
    kept = [(side, _seen(surface, points, side, shift)) for side in (normals, -normals)]
    seen = [
        np.concatenate([array[mask] for array, mask in pairs]) for pairs in ([(points, mask) for _, mask in kept], kept)
    ]
    return Model(seen[0], seen[1], True, surface)


def _drawn(mesh: Mesh) -> tuple[Array, Array]:
    """Return `SAMPLES` points drawn evenly by area, and their normals, (n, 3) each."""
    a, b, c = mesh.triangles.swapaxes(0, 1)
    normal = np.cross(b - a, c - a)
    doubled = np.maximum(np.linalg.norm(normal, axis=1), 1e-300)
    rng = np.random.default_rng(SEED)
    face = rng.choice(len(doubled), SAMPLES, p=doubled / doubled.sum())
    u, v = np.sqrt(rng.random(SAMPLES))[:, None], rng.random(SAMPLES)[:, None]
    return (1 - u) * a[face] + u * (1 - v) * b[face] + u * v * c[face], normal[face] / doubled[face, None]


def _seen(mesh: Mesh, points: Array, normals: Array, shift: float) -> NDArray[np.bool_]:
    """Tell which points are seen from far off, on the side of their normal."""
    o3d = open3d()
    middle = mesh.vertices.mean(axis=0)
    scene = o3d.t.geometry.RaycastingScene()
    scene.add_triangles((mesh.vertices - middle).astype(np.float32), mesh.faces.astype(np.uint32))
    start = points - middle + shift * normals
    seen = np.zeros(len(points), bool)
    for way in _sphere(DIRECTIONS):
        asked = np.flatnonzero(~seen & (normals @ way > LEAST_COSINE))
        rays = np.hstack([start[asked], np.broadcast_to(way, (len(asked), 3))]).astype(np.float32)
        seen[asked] = ~scene.test_occlusions(o3d.core.Tensor(rays)).numpy()
    return seen


def _sphere(count: int) -> Array:
    """Return (count, 3) unit vectors spread evenly over the sphere: the Fibonacci lattice."""
    k = np.arange(count) + 0.5
    z, turn = 1 - 2 * k / count, np.pi * (1 + np.sqrt(5)) * k
    flat = np.sqrt(1 - z * z)
    return np.column_stack([flat * np.cos(turn), flat * np.sin(turn), z])
