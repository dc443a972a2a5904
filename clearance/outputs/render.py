"""Draw meshes and points into one picture with a depth buffer. Knows nothing of verdicts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from clearance.frames import Array
from clearance.outputs.camera import Camera
from clearance.outputs.colours import Rgb
from clearance.outputs.raycast import Hits, RayMesh

SHARPER = 2
"""Pixels each way per pixel of the finished picture."""

BACKGROUND = (0xF7, 0xF7, 0xF5)
AMBIENT = 0.45


class Canvas:
    """A picture being drawn at `SHARPER` times its size.

    Surface nearer to the eye than depth `near_mm` is cut away.
    """

    def __init__(self, camera: Camera, near_mm: float = -np.inf) -> None:
        self.camera = camera
        self.near_mm = near_mm
        self._fine = camera.enlarged(SHARPER)
        count = self._fine.width * self._fine.height
        self._pixels: Rgb = np.tile(np.array(BACKGROUND, np.uint8), (count, 1))
        self._depth: NDArray[np.float32] = np.full(count, np.inf, np.float32)

    def hits(self, mesh: RayMesh) -> Hits:
        """Return what each fine pixel sees of `mesh`, so that the caller can colour it."""
        return mesh.seen_by(self._fine, self.near_mm)

    def surface(
        self, mesh: RayMesh, hits: Hits, colours: Rgb, *, faint: float = 0.0, only_behind: bool = False
    ) -> None:
        """Draw hits, (k, 3) colours, shaded by the angle to the eye and faded towards the background by `faint`.

        With `only_behind` nothing that is drawn already gets covered.
        """
        a, b, c = mesh.mesh.triangles[hits.face].swapaxes(0, 1)
        normal = np.cross(b - a, c - a)
        length = np.maximum(np.linalg.norm(normal, axis=1), 1e-300)
        light = AMBIENT + (1 - AMBIENT) * np.abs(normal @ self.camera.toward) / length
        shaded = colours * light[:, None]
        self._put(hits.pixel, hits.depth, shaded + faint * (np.array(BACKGROUND) - shaded), only_behind)

    def points(self, points: Array, colours: Rgb, *, size: int, only_behind: bool = False) -> None:
        """Draw (n, 3) points as squares of `size` fine pixels, far ones first."""
        places, depth = self._fine.project(points)
        order = np.argsort(-depth)
        order = order[depth[order] >= self.near_mm]
        corner = np.floor(places[order]).astype(np.int64) - size // 2
        drawn, wide, high = depth[order].astype(np.float32), self._fine.width, self._fine.height
        for right in range(size):
            for down in range(size):
                column, row = corner[:, 0] + right, corner[:, 1] + down
                on = (column >= 0) & (column < wide) & (row >= 0) & (row < high)
                self._put((row * wide + column)[on], drawn[on], colours[order][on].astype(np.float64), only_behind)

    def _put(self, pixel: NDArray[np.int64], depth: NDArray[np.float32], colours: Array, only_behind: bool) -> None:
        wins = np.isinf(self._depth[pixel]) if only_behind else depth < self._depth[pixel]
        self._pixels[pixel[wins]] = np.clip(np.round(colours[wins]), 0, 255).astype(np.uint8)
        if not only_behind:
            self._depth[pixel[wins]] = depth[wins]

    def image(self) -> Image.Image:
        """Return the picture, averaged down to its size."""
        fine = Image.fromarray(self._pixels.reshape(self._fine.height, self._fine.width, 3))
        return fine.resize((self.camera.width, self.camera.height), Image.Resampling.BOX)
