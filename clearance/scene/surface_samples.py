"""Points on a mesh, dense enough to stand for its surface."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import surface_area
from clearance.scene.mesh_io import equal_rows

FINEST_MM = 1.0
"""Length, mm, to which edges are split."""

MOST_POINTS = 4_000_000
"""About how many points a mesh may become; a larger surface is split less finely."""


def sample_surface(mesh: Mesh) -> tuple[Array, float]:
    """Return points such that no place of the surface is farther than L / sqrt(3) from one.

    The vertices, and the midpoints of longest edges, halved until they are at most L: such a triangle
    lies within L / sqrt(3) of its corners (Jung's theorem in the plane). A triangle no higher than
    L / 4 over its longest edge gets points along that edge instead, at most L apart:
    sqrt(L^2 / 4 + L^2 / 16) is less still.

    Returns
    -------
    points : (n, 3) float64, mm
    edge_mm : float
        L: `FINEST_MM`, or more where the surface is so large that `MOST_POINTS` would be passed.
        Halving leaves triangles of at least L^2 / 8 or so, hence L^2 >= 4 area / `MOST_POINTS`.
    """
    edge_mm = max(FINEST_MM, 2.0 * np.sqrt(surface_area(mesh) / MOST_POINTS))
    corners, found = mesh.triangles, [mesh.vertices]
    while len(corners):
        lengths = np.linalg.norm(corners[:, [1, 2, 0]] - corners, axis=2)
        split = lengths.max(axis=1) > edge_mm
        corners, longest, length = corners[split], lengths[split].argmax(axis=1), lengths[split].max(axis=1)
        rows = np.arange(len(corners))
        a, b, c = (corners[rows, (longest + k) % 3] for k in range(3))
        low = np.linalg.norm(np.cross(b - a, c - a), axis=1) <= 0.25 * edge_mm * length
        found.append(_along(a[low], b[low], np.ceil(length[low] / edge_mm).astype(np.int64)))
        a, b, c = a[~low], b[~low], c[~low]
        middle = 0.5 * (a + b)
        found.append(middle)
        corners = np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])
    points = np.concatenate(found)
    return points[equal_rows(points)[0]], float(edge_mm)


def _along(start: Array, end: Array, steps: NDArray[np.int64]) -> Array:
    """Return the inner points that divide each segment into so many equal steps."""
    inner = steps - 1
    segment = np.repeat(np.arange(len(steps)), inner)
    step = np.arange(len(segment)) - np.repeat(np.cumsum(inner) - inner, inner) + 1
    share = (step / steps[segment])[:, None]
    points: Array = start[segment] + share * (end - start)[segment]
    return points
