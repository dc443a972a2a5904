"""A part within a mesh with small faults is not clear of it; one in an open bowl is."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from judging import judged

from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
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


def _hollow(faces: np.ndarray, ball: trimesh.Trimesh) -> Part:
    mesh = Mesh(np.asarray(ball.vertices, np.float64), np.asarray(faces, np.int64))
    return Part(name="ball.stl", mesh=mesh, shown=mesh, closed=False, rides="engine", tolerance_mm=0.0)


@pytest.mark.parametrize(
    ("kept", "flipped", "verdict"),
    [
        pytest.param("all but one", "every other", Verdict.UNDECIDED, id="winding cancels out"),
        pytest.param("lower half", "every other", Verdict.PASS, id="an open bowl swallows nothing"),
        pytest.param("all but one", "none", Verdict.FAIL, id="the winding number tells"),
    ],
)
def test_a_cable_inside_a_part_with_seams_does_not_pass(placed, kept, flipped, verdict):
    ball = trimesh.creation.icosphere(subdivisions=3, radius=60)
    faces = ball.faces[1:] if kept == "all but one" else ball.faces[ball.triangles_center[:, 2] < 0]
    if flipped == "every other":
        faces = np.where(np.arange(len(faces))[:, None] % 2, faces, faces[:, ::-1])
    cable = np.column_stack([np.linspace(-15, 15, 40), np.zeros(40), np.full(40, 12.0)])
    zone = Zone(
        name="cable", table="cable", kind="chassis", rides="chassis", gap_mm=5.0, stray_points=np.zeros((0, 3)),
        points=cable,
    )  # fmt: skip
    result = judged(zone, _hollow(faces, ball), placed(), None, None)
    assert result.verdict is verdict
    if verdict is Verdict.UNDECIDED:
        assert "close the part's mesh" in result.reason
