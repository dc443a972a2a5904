"""Triangle mesh as two arrays. What a mesh is; not how it is read or judged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array, Pose

IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Mesh:
    """Triangles in some frame.

    Attributes
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64, indices into `vertices`
    """

    vertices: Array
    faces: IntArray

    @property
    def triangles(self) -> Array:
        """(m, 3, 3) corner coordinates, mm."""
        return self.vertices[self.faces]

    @property
    def centroid(self) -> Array:
        """(3,) centroid of the surface, mm: it does not depend on how the surface is cut into triangles."""
        a, b, c = self.triangles.swapaxes(0, 1)
        area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
        centroid: Array = area @ (a + b + c) / (3 * area.sum())
        return centroid

    def moved(self, pose: Pose) -> Mesh:
        """Return the mesh mapped by `pose`."""
        return Mesh(pose.apply(self.vertices), self.faces)
