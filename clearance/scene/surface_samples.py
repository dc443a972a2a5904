"""Points on a mesh, dense enough to stand for its surface."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_io import equal_rows

FINEST_MM = 1.0
"""Edge length, mm, down to which triangles are split."""

MOST_POINTS = 4_000_000
"""About how many points a mesh may become; a larger surface is split less finely."""


def sample_surface(mesh: Mesh) -> tuple[Array, float]:
    """Return the mesh's vertices and the midpoints of longest edges, halved until all are short.

    A triangle whose edges are at most L has every point within L / sqrt(3) of a corner (the
    circumradius of the equilateral triangle; Jung's theorem in the plane), so no surface point
    is farther than that from a sample.

    Returns
    -------
    points : (n, 3) float64, mm
    edge_mm : float
        L: `FINEST_MM`, or more where the surface is so large that `MOST_POINTS` would be passed.
        Halving leaves triangles of at least L^2 / 8 or so, hence L^2 >= 4 area / `MOST_POINTS`.
    """
    corners = mesh.triangles
    area = 0.5 * float(
        np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1).sum()
    )
    edge_mm = max(FINEST_MM, 2.0 * np.sqrt(area / MOST_POINTS))
    found = [mesh.vertices]
    while len(corners):
        lengths = np.linalg.norm(corners[:, [1, 2, 0]] - corners, axis=2)
        longest = lengths.argmax(axis=1)
        split = lengths.max(axis=1) > edge_mm
        corners, longest = corners[split], longest[split]
        rows = np.arange(len(corners))
        a, b, c = (corners[rows, (longest + k) % 3] for k in range(3))
        middle = 0.5 * (a + b)
        found.append(middle)
        corners = np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])
    points = np.concatenate(found)
    return points[equal_rows(points)[0]], float(edge_mm)
