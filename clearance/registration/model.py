"""What is looked for in a scan: the outside of a part or of an engine, as points with outward normals."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.frames import Array
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
    points, normals : (n, 3) float64, mm; normals point out of the material
    mesh : Mesh or None
        The surface itself; None where the model is a scan.
    """

    points: Array
    normals: Array
    mesh: Mesh | None = None

    @property
    def diagonal_mm(self) -> float:
        """Diagonal of the box about the points."""
        return float(np.linalg.norm(np.ptp(self.points, axis=0)))


def model_of_mesh(mesh: Mesh) -> Model:
    """Return the places of a mesh that can be seen from outside, with the side they are seen from.

    Places are drawn evenly by area (seeded). One is kept if some direction, of `DIRECTIONS` spread
    evenly over the sphere (Fibonacci lattice), leads out unhindered; the normal points to that side,
    whichever way the triangles run, and an open sheet that shows both sides is kept twice.
    """
    points, normals = _drawn(mesh)
    shift = LIFT * float(np.linalg.norm(np.ptp(mesh.vertices, axis=0)))
    found = [(points[kept], side[kept]) for side in (normals, -normals) for kept in [_seen(mesh, points, side, shift)]]
    return Model(np.concatenate([p for p, _ in found]), np.concatenate([n for _, n in found]), mesh)


def _drawn(mesh: Mesh) -> tuple[Array, Array]:
    """Return `SAMPLES` points drawn evenly by area, and their normals, (n, 3) each."""
    a, b, c = mesh.triangles.swapaxes(0, 1)
    normal = np.cross(b - a, c - a)
    doubled = np.linalg.norm(normal, axis=1)
    rng = np.random.default_rng(SEED)
    face = rng.choice(len(doubled), SAMPLES, p=doubled / doubled.sum())
    u, v = np.sqrt(rng.random(SAMPLES))[:, None], rng.random(SAMPLES)[:, None]
    return (1 - u) * a[face] + u * (1 - v) * b[face] + u * v * c[face], normal[face] / doubled[face, None]


def _seen(mesh: Mesh, points: Array, normals: Array, shift: float) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """Tell which points are seen from far off, on the side of their normal."""
    o3d = open3d()
    middle = mesh.vertices.mean(axis=0)
    scene = o3d.t.geometry.RaycastingScene()
    scene.add_triangles((mesh.vertices - middle).astype(np.float32), mesh.faces.astype(np.uint32))
    start = points - middle + shift * normals
    seen = np.zeros(len(points), bool)
    for way in sphere(DIRECTIONS):
        asked = np.flatnonzero(~seen & (normals @ way > LEAST_COSINE))
        rays = np.hstack([start[asked], np.broadcast_to(way, (len(asked), 3))]).astype(np.float32)
        seen[asked] = ~scene.test_occlusions(o3d.core.Tensor(rays)).numpy()
    return seen


def sphere(count: int) -> Array:
    """Return (count, 3) unit vectors spread evenly over the sphere: the Fibonacci lattice."""
    k = np.arange(count) + 0.5
    z, turn = 1 - 2 * k / count, np.pi * (1 + np.sqrt(5)) * k
    flat = np.sqrt(1 - z * z)
    return np.column_stack([flat * np.cos(turn), flat * np.sin(turn), z])
