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

    def moved(self, pose: Pose) -> Mesh:
        """Return the mesh mapped by `pose`."""
        return Mesh(pose.apply(self.vertices), self.faces)
