"""What a camera, or a point along a line, sees of a mesh."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.outputs.camera import Camera
from clearance.scene.mesh import Mesh
from clearance.scene.rays import Rays


@dataclass(frozen=True, eq=False)
class Hits:
    """First surface seen at each pixel that sees one.

    Attributes
    ----------
    pixel : (k,) int64, flat index into the (height, width) picture
    face : (k,) int64
    weights : (k, 3) float64, barycentric
    depth : (k,) float32, mm as in `Camera.project`
    """

    pixel: NDArray[np.int64]
    face: NDArray[np.int64]
    weights: Array
    depth: NDArray[np.float32]


class RayMesh:
    """A mesh ready for rays. Single precision about the mesh's own middle: for pictures, never for a verdict."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh, self._rays = mesh, Rays(mesh)
        self._reach = float(np.abs(mesh.triangles - self._rays.middle).max(initial=0.0)) * 2 + 1.0

    def blocked(self, origins: Array, directions: Array, beyond_mm: float) -> NDArray[np.bool_]:
        """Tell for each ray (n, 3), (n, 3) whether the mesh is met farther than `beyond_mm` from the origin."""
        return self._rays.first_hit(origins + beyond_mm * directions, directions) >= 0

    def first_mm(self, origins: Array, directions: Array) -> Array:
        """Return how far along rays (n, 3), (n, 3) unit vectors, the mesh is first met, (n,) mm; infinity if not."""
        far = np.full(len(origins), np.inf)
        if len(self.mesh.faces) and len(origins):
            met = self._rays.hits(origins, directions)
            far = np.where(met["primID"] >= 0, met["tfar"].astype(np.float64), np.inf)
        return far

    def seen_by(self, camera: Camera, near_mm: float = -np.inf) -> Hits:
        """Return what one ray per pixel sees; surface nearer to the eye than depth `near_mm` is cut away."""
        columns, rows = self._window(camera)
        if not len(self.mesh.faces) or not len(columns) or not len(rows):
            return Hits(np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros((0, 3)), np.zeros(0, np.float32))
        start_depth = max(float(camera.project(self._rays.middle)[1]) - self._reach, near_mm)
        x = ((columns + 0.5) - camera.width / 2) * camera.mm_per_px
        y = (camera.height / 2 - (rows + 0.5)) * camera.mm_per_px
        corner = camera.target - start_depth * camera.toward
        grid = (corner + x[None, :, None] * camera.right + y[:, None, None] * camera.up).reshape(-1, 3)
        found = self._rays.hits(grid, np.broadcast_to(-camera.toward, grid.shape))
        hit = np.flatnonzero(found["primID"] >= 0)
        u, v = found["u"][hit].astype(np.float64), found["v"][hit].astype(np.float64)
        pixel = rows[hit // len(columns)] * camera.width + columns[hit % len(columns)]
        depth = (found["tfar"][hit] + start_depth).astype(np.float32)
        return Hits(pixel, found["primID"][hit].astype(np.int64), np.stack([1 - u - v, u, v], axis=1), depth)

    def _window(self, camera: Camera) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Pixel columns and rows that the mesh can fall on."""
        if not len(self.mesh.faces):
            return np.zeros(0, np.int64), np.zeros(0, np.int64)
        places, _ = camera.project(self.mesh.vertices)
        low = np.clip(np.floor(places.min(axis=0)), 0, (camera.width, camera.height)).astype(np.int64)
        high = np.clip(np.ceil(places.max(axis=0)), 0, (camera.width, camera.height)).astype(np.int64)
        return np.arange(low[0], high[0]), np.arange(low[1], high[1])
