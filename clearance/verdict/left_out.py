"""What is told of scan points that the job leaves out: how many, and how near they come at rest."""

from __future__ import annotations

import numpy as np

from clearance.distance.inside import surface_of
from clearance.distance.near import outside_box
from clearance.frames import Array
from clearance.scene.cubes import cubes
from clearance.scene.mesh import Mesh
from clearance.scene.zones import Zones

CUBE_MM = 1.0
"""Of the points in a cube of this side one is asked how near it is."""

MOST_ASKED = 50_000


def left_out_notes(zones: Zones, part: Mesh) -> list[str]:
    """Return a sentence for each place that the job leaves out. `part`: bay frame, neutral pose, mm."""
    return [
        f"{name}: {len(points)} scan points were left out (bay.left_out); at rest they come to about "
        f"{_nearest_mm(points, part):.1f} mm from the part (below 0: inside it). Nothing there was checked, neither as "
        "a neighbour nor as an obstacle to a tool, a way, a shield or a keep-out"
        for name, points in zones.left_out.items()
    ]


def _nearest_mm(points: Array, part: Mesh) -> float:
    speakers = points[cubes(points, CUBE_MM)[0]]
    nearest = np.argsort(outside_box(part.vertices, speakers), kind="stable")[:MOST_ASKED]
    return float(surface_of(part).nearest(speakers[nearest])[0].min())
