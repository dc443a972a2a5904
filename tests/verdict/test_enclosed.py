"""A part within a mesh with small faults is not clear of it; one in an open bowl is."""

from __future__ import annotations

import sys

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


UNTOLD = "close the part's mesh"


@pytest.mark.parametrize("ray_caster", [True, False])
@pytest.mark.parametrize(
    ("below", "flipped", "verdict"),
    [
        pytest.param(59, "every other", Verdict.UNDECIDED, id="a chink, winding cancels out"),
        pytest.param(50, "every other", Verdict.UNDECIDED, id="open by a twelfth, winding cancels out"),
        pytest.param(20, "every other", Verdict.UNDECIDED, id="open by a third, winding cancels out"),
        pytest.param(20, "one half", Verdict.UNDECIDED, id="open by a third, one half turned"),
        pytest.param(59, "none", Verdict.FAIL, id="a chink, the winding number tells"),
        pytest.param(20, "none", Verdict.FAIL, id="open by a third, the winding number tells"),
        pytest.param(0, "every other", Verdict.PASS, id="an open bowl swallows nothing"),
        pytest.param(0, "one half", Verdict.PASS, id="an open bowl, one half turned"),
        pytest.param(0, "none", Verdict.PASS, id="an open bowl of even winding"),
    ],
)
def test_a_cable_inside_an_open_part_does_not_pass(placed, monkeypatch, below, flipped, verdict, ray_caster):
    if not ray_caster:
        monkeypatch.setitem(sys.modules, "embreex.mesh_construction", None)
    ball = trimesh.creation.icosphere(subdivisions=3, radius=60)
    kept = ball.triangles_center[:, 2] < below
    faces, middle = ball.faces[kept], ball.triangles_center[kept]
    turned = {"every other": np.arange(len(faces)) % 2 == 0, "one half": middle[:, 0] > 0, "none": middle[:, 0] > 99}
    mesh = Mesh(
        np.asarray(ball.vertices, np.float64),
        np.asarray(np.where(turned[flipped][:, None], faces[:, ::-1], faces), np.int64),
    )
    part = Part(name="ball.stl", mesh=mesh, shown=mesh, closed=False, rides="engine", tolerance_mm=0.0)
    height = 20.0 if below == 0 else -10.0
    cable = np.column_stack([np.linspace(-15, 15, 40), np.zeros(40), np.full(40, height)])
    zone = Zone(
        name="cable", table="cable", kind="chassis", rides="chassis", gap_mm=5.0, stray_points=np.zeros((0, 3)),
        points=cable,
    )  # fmt: skip
    result = judged(zone, part, placed(), None, None)
    assert result.verdict is verdict
    if verdict is Verdict.UNDECIDED:
        assert UNTOLD in result.reason


def test_a_cable_between_the_runners_of_an_open_part_is_told_from_one_inside(placed):
    # Two pipes without end caps: what lies between them sees only outer faces, whatever it sees through the ends.
    pipes = [trimesh.creation.cylinder(radius=20, height=400, sections=48) for _ in range(2)]
    for pipe, x in zip(pipes, (-30, 30), strict=True):
        pipe.update_faces(np.abs(pipe.face_normals[:, 2]) < 0.5)
        pipe.apply_translation([x, 0, 0])
    both = trimesh.util.concatenate(pipes)
    mesh = Mesh(np.asarray(both.vertices, np.float64), np.asarray(both.faces, np.int64))
    part = Part(name="pipes.stl", mesh=mesh, shown=mesh, closed=False, rides="engine", tolerance_mm=0.0)
    height = np.linspace(-190, 190, 200)
    for x, verdict in ((0.0, Verdict.PASS), (30.0, Verdict.FAIL)):
        cable = np.column_stack([np.full(200, x), np.zeros(200), height])
        zone = Zone(
            name="cable", table="cable", kind="chassis", rides="chassis", gap_mm=5.0, stray_points=np.zeros((0, 3)),
            points=cable,
        )  # fmt: skip
        assert judged(zone, part, placed(), None, None).verdict is verdict
