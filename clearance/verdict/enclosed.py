"""A part within a mesh that is all but closed: nobody can tell what is inside, so nothing is proven."""

from __future__ import annotations

import numpy as np

from clearance.distance.inside import covered, most_turns
from clearance.frames import Array
from clearance.scene.mesh import Mesh
from clearance.scene.zone import Zone

ENCLOSING = 0.9
"""Share of all directions that an open mesh must cover, seen from the part, for the part to be called enclosed."""

UNBROKEN = 0.97
"""The same where triangles of mixed winding or sheets with two faces cancel out and only rays can tell."""

RAYS, EYES = 150, 4
"""Directions, and vertices of the part they start from."""


def enclosed(zone: Zone, part: Mesh) -> str | None:
    """Return why a zone's mesh with small holes or doubled triangles keeps it from passing, None if it does not.

    Such a mesh has no inside, so its surface alone is measured, and that calls a swallowed part
    clear. `part`: bay frame, neutral pose, mm.
    """
    if zone.mesh is None or zone.closed:
        return None
    if most_turns(zone.mesh, part.vertices) < ENCLOSING and _least_covered(zone.mesh, part) < UNBROKEN:
        return None
    return (
        "the part lies within this zone's mesh, which has small holes, doubled or crossing triangles, so its inside "
        "cannot be told from its outside; close the mesh, or cut away what does not belong to the zone"
    )


def _least_covered(mesh: Mesh, part: Mesh) -> float:
    """Return the share of directions that `mesh` covers, seen from the vertex of the part that sees most past it."""
    eyes = part.vertices[np.linspace(0, len(part.vertices) - 1, EYES).astype(np.int64)]
    return min(covered(mesh, eye, _directions()) for eye in eyes)


def _directions() -> Array:
    """Return (RAYS, 3) directions spread evenly over the sphere along a golden spiral."""
    step = np.arange(RAYS) + 0.5
    height = 1 - 2 * step / RAYS
    around, out = np.pi * (1 + np.sqrt(5)) * step, np.sqrt(1 - height**2)
    return np.column_stack([out * np.cos(around), out * np.sin(around), height])
