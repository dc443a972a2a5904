"""A hot ball, whose view factors are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearance.distance.inside import Surface
from clearance.heat.emitter import Emitter
from clearance.heat.neighbour import Source, moved_out
from clearance.heat.surface_temperature import Sheets
from clearance.scene.mesh import Mesh


@pytest.fixture(scope="session")
def source() -> Source:
    """A black ball of radius 60 mm about the origin at 800 K, and a sheet of emissivity 0.1 about it."""
    ball = trimesh.creation.icosphere(5, 60.0)
    mesh = Mesh(np.array(ball.vertices), np.array(ball.faces, dtype=np.int64))
    count = len(mesh.faces)
    return Source(
        part=Emitter(mesh, np.full(count, 800.0), np.ones(count)),
        surface=Surface(mesh),
        outer=Emitter(moved_out(mesh, 11.0), np.full(count, 800.0), np.full(count, 0.1)),
        sheets=Sheets(count=1, standoff_m=0.010, between_m=0.006, emissivity=0.1),
        build_mm=11.0,
        emissivity=1.0,
        up=np.array([0.0, 0.0, 1.0]),
    )
