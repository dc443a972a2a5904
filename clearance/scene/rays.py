"""Adapter to the ray caster (Embree through embreex), the only file that imports it. Works without screen or GPU.

Single precision about the mesh's own middle: a hit is out by some 1e-6 of the mesh's extent.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.mesh import Mesh

LAYERS, APART = 64, 2e-5
"""Triangles counted along a ray, and how far behind one of them the ray goes on, as a share of the mesh's size."""


class Rays:
    """A mesh made ready for rays.

    Raises
    ------
    ImportError
        Where the ray caster is not installed: it is not made for every machine.
    """

    def __init__(self, mesh: Mesh) -> None:
        from embreex.mesh_construction import TriangleMesh
        from embreex.rtcore_scene import EmbreeScene

        corners = mesh.triangles
        self.middle = corners.reshape(-1, 3).mean(axis=0) if len(corners) else np.zeros(3)
        self._empty = not len(corners)
        self._apart = APART * float(np.ptp(corners.reshape(-1, 3), axis=0).max(initial=0.0)) if len(corners) else 0.0
        self._scene: Any = EmbreeScene()
        self._held: Any = TriangleMesh(self._scene, np.ascontiguousarray(corners - self.middle, np.float32))

    def first_hit(self, origins: Array, directions: NDArray[Any]) -> NDArray[np.int32]:
        """Return the first triangle, (n,), that rays from (n, 3), mm, along (n, 3) meet; -1 where none."""
        if self._empty:
            return np.full(len(origins), -1, np.int32)
        met: NDArray[np.int32] = self._scene.run(*self._cast(origins, directions), query="INTERSECT")
        return met

    def hits(self, origins: Array, directions: NDArray[Any]) -> dict[str, NDArray[Any]]:
        """Return for each ray its first triangle `primID`, -1 where none, the length `tfar` and `u`, `v` there."""
        found: dict[str, NDArray[Any]] = self._scene.run(
            *self._cast(origins, directions), query="INTERSECT", output=True
        )
        return found

    def crossings(self, origins: Array, directions: NDArray[Any]) -> NDArray[np.int64]:
        """Return how many triangles, (n,), rays from (n, 3), mm, along (n, 3) unit vectors meet, `LAYERS` at most.

        Two that lie nearer to each other along a ray than `APART` of the mesh's size count as one.
        """
        count, live, origins = np.zeros(len(origins), np.int64), np.arange(len(origins)), origins.copy()
        for _ in range(0 if self._empty else LAYERS):
            found = self.hits(origins[live], directions[live])
            hit = found["primID"] >= 0
            live = live[hit]
            if not len(live):
                break
            count[live] += 1
            origins[live] += directions[live] * (found["tfar"][hit].astype(np.float64) + self._apart)[:, None]
        return count

    def _cast(self, origins: Array, directions: NDArray[Any]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
        start = np.ascontiguousarray(origins - self.middle, np.float32)
        return start, np.ascontiguousarray(directions, np.float32)
