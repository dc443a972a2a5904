"""A part within a mesh that is all but closed: nobody can tell what is inside, so nothing is proven."""

from __future__ import annotations

from clearance.distance.inside import most_turns
from clearance.scene.mesh import Mesh
from clearance.scene.zone import Zone

ENCLOSING = 0.9
"""Share of all directions that an open mesh must cover, seen from the part, for the part to be called enclosed."""


def enclosed(zone: Zone, part: Mesh) -> str | None:
    """Return why a zone's mesh with small holes or doubled triangles keeps it from passing, None if it does not.

    Such a mesh has no inside, so its surface alone is measured, and that calls a swallowed part
    clear. `part`: bay frame, neutral pose, mm.
    """
    if zone.mesh is None or zone.closed or most_turns(zone.mesh, part.vertices) < ENCLOSING:
        return None
    return (
        "the part lies within this zone's mesh, which has small holes, doubled or crossing triangles, so its inside "
        "cannot be told from its outside; close the mesh, or cut away what does not belong to the zone"
    )
