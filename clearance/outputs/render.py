"""Draw meshes and points into one picture with a depth buffer. Knows nothing of verdicts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from clearance.frames import Array, unit_vector
from clearance.outputs.camera import Camera
from clearance.outputs.colours import Rgb
from clearance.outputs.raycast import Hits, RayMesh

SHARPER = 2
"""Pixels each way per pixel of the finished picture."""

BACKGROUND = (0xEE, 0xEE, 0xEC)
EDGE_INK = (0x3A, 0x3A, 0x3A)
DARKEST = 0.68
"""Share of its colour that surface keeps where it is turned from the light, so that bands stay apart."""

EDGE_STEP_PX = 6.0
"""Jump in depth, in fine pixels, that is drawn as an edge."""


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
        self._light = unit_vector(camera.toward + 0.55 * camera.up + 0.35 * camera.right)

    def hits(self, mesh: RayMesh) -> Hits:
        """Return what each fine pixel sees of `mesh`, so that the caller can colour it."""
        return mesh.seen_by(self._fine, self.near_mm)

    def surface(
        self, mesh: RayMesh, hits: Hits, colours: Rgb, *, faint: float = 0.0, only_behind: bool = False
    ) -> None:
        """Draw hits, (k, 3) colours, shaded by the angle to the light and faded towards the background by `faint`.

        With `only_behind` nothing that is drawn already gets covered.
        """
        a, b, c = mesh.mesh.triangles.swapaxes(0, 1)
        normal = np.cross(b - a, c - a)
        normal /= np.maximum(np.linalg.norm(normal, axis=1), 1e-300)[:, None]
        facing = np.where(normal @ self.camera.toward < 0, -1.0, 1.0) * (normal @ self._light)
        light = DARKEST + (1 - DARKEST) * np.maximum(facing, 0.0)
        shaded = colours * light[hits.face, None]
        self._put(hits.pixel, hits.depth, shaded + faint * (np.array(BACKGROUND) - shaded), only_behind)

    def edges(self, *, strength: float = 0.7) -> None:
        """Darken surface where depth jumps or bends sharply: outlines and creases of all that is drawn so far."""
        depth = self._depth.reshape(self._fine.height, self._fine.width)
        far = float(depth[np.isfinite(depth)].max(initial=0.0)) + 1e3
        solid = np.where(np.isfinite(depth), depth, np.float32(far))
        step = np.zeros(depth.shape, bool)
        limit = EDGE_STEP_PX * self._fine.mm_per_px
        step[1:-1] |= np.abs(solid[2:] + solid[:-2] - 2 * solid[1:-1]) > limit
        step[:, 1:-1] |= np.abs(solid[:, 2:] + solid[:, :-2] - 2 * solid[:, 1:-1]) > limit
        on = np.flatnonzero(step & np.isfinite(depth))
        mixed = self._pixels[on] * (1 - strength) + np.array(EDGE_INK) * strength
        self._pixels[on] = np.round(mixed).astype(np.uint8)

    def points(self, points: Array, colours: Rgb, *, size: int, only_behind: bool = False) -> None:
        """Draw (n, 3) points as squares of `size` fine pixels; `only_behind` as for surfaces.

        Surface hides points; points hide only those before them in the array.
        """
        places, depth = self._fine.project(points)
        corner = np.floor(places).astype(np.int64) - size // 2
        wide, high = self._fine.width, self._fine.height
        for right in range(size):
            for down in range(size):
                column, row = corner[:, 0] + right, corner[:, 1] + down
                on = (column >= 0) & (column < wide) & (row >= 0) & (row < high) & (depth >= self.near_mm)
                pixel = (row * wide + column)[on]
                wins = np.isinf(self._depth[pixel]) if only_behind else depth[on] < self._depth[pixel]
                self._pixels[pixel[wins]] = colours[on][wins]

    def _put(self, pixel: NDArray[np.int64], depth: NDArray[np.float32], colours: Array, only_behind: bool) -> None:
        wins = np.isinf(self._depth[pixel]) if only_behind else depth < self._depth[pixel]
        self._pixels[pixel[wins]] = np.clip(np.round(colours[wins]), 0, 255).astype(np.uint8)
        if not only_behind:
            self._depth[pixel[wins]] = depth[wins]

    def image(self) -> Image.Image:
        """Return the picture, averaged down to its size."""
        fine = Image.fromarray(self._pixels.reshape(self._fine.height, self._fine.width, 3))
        return fine.resize((self.camera.width, self.camera.height), Image.Resampling.BOX)
