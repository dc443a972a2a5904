"""A part within a mesh with small faults is not clear of it; one in an open bowl is."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from judging import judged

from clearance.scene.mesh import Mesh
from clearance.scene.zone import Zone
from clearance.verdict.result import Verdict


@pytest.mark.parametrize("fault", ["hole", "doubled", "two-sided", "none of it"])
def test_a_part_inside_a_shell_that_is_almost_closed_does_not_pass(cube, placed, fault):
    ball = trimesh.creation.icosphere(subdivisions=3, radius=200)
    faces = {
        "hole": ball.faces[1:],
        "doubled": np.vstack([ball.faces, ball.faces[:1]]),
        "two-sided": np.vstack([ball.faces, ball.faces[:, ::-1]]),  # turns cancel out, rays do not
        # A bowl: the upper half is open, nothing encloses the part.
        "none of it": ball.faces[ball.triangles_center[:, 2] < 0],
    }[fault]
    shell = Mesh(np.asarray(ball.vertices, np.float64), np.asarray(faces, np.int64))
    zone = Zone(
        name="tank", table="tank", kind="chassis", rides="chassis", gap_mm=5.0, stray_points=np.zeros((0, 3)),
        mesh=shell, shown=shell, closed=False,
    )  # fmt: skip
    result = judged(zone, cube, placed(), None, None)
    if fault == "none of it":
        assert result.verdict is Verdict.PASS
    else:
        assert result.verdict is Verdict.UNDECIDED
        assert "close the mesh" in result.reason
