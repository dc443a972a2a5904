"""A part that sits on a scanned port face, through whole jobs: what is meant to touch, and what is not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray

from clearance.errors import InputError
from clearance.outputs.looked_for import looked_for
from clearance.outputs.write import write_results
from clearance.pipeline import check
from clearance.verdict.result import CheckResult, Verdict
from clearance.verify.verify import verify

Array = NDArray[np.float64]
NOISE_MM = 0.05
PITCH_MM = 1.5
WALL_Y = 70.0
OPENINGS = {"none": (), "studs": ((32.0, 0.0, 4.5), (-32.0, 0.0, 4.5)), "port": ((0.0, 0.0, 17.0),)}
"""Holes in the port face that no scanner sees the bottom of: x, y, radius."""

JOB = """\
[part]
file = "part.stl"
unit = "mm"
tolerance = 0.1
{contact}
[bay]
files = ["bay.ply"]
unit = "mm"
accuracy = 0.02
ends = [{ends}]
[register]
method = "given"
shift = [0, 0, 0]
[[datum]]
name = "flange"
on = "part"
face = {{ point = [0, 0, 0], normal = [0, 0, -1], radius = 46 }}
[[zone]]
name = "head and wall"
kind = "chassis"
rides = "engine"
where = {{ rest = true }}
gap = 10
"""
CONTACT = 'contact = ["flange"]'
RIM = ", ".join(
    f"{{ box = {{ min = [{x - 7:.1f}, {y - 7:.1f}, -2], max = [{x + 7:.1f}, {y + 7:.1f}, 2] }} }}"
    for x, y in (45 * np.array([np.cos(a), np.sin(a)]) for a in np.radians(np.arange(0, 360, 10)))
)
"""Boxes about the edge of the port face, which really ends there; the openings lie farther in."""


def _flanged_pipe() -> trimesh.Trimesh:
    """Flange 90 mm across and 8 mm thick on z = 0, with a pipe 40 mm across up to z = 90."""
    flange = trimesh.creation.cylinder(radius=45, segment=[(0, 0, 0), (0, 0, 8)], sections=64)
    pipe = trimesh.creation.cylinder(radius=20, segment=[(0, 0, 4), (0, 0, 90)], sections=64)
    return trimesh.util.concatenate([flange, pipe])


def _plane(half_u: float, half_v: float, seed: int) -> Array:
    """Return (n, 3) points u, v, noise."""
    u, v = np.meshgrid(np.arange(-half_u, half_u + 0.1, PITCH_MM), np.arange(-half_v, half_v + 0.1, PITCH_MM))
    return np.column_stack([u.ravel(), v.ravel(), np.random.default_rng(seed).normal(0, NOISE_MM, u.size)])


def _bay(*, openings: str = "none", more: Array | None = None) -> Array:
    """Port face z = 0 as large as the flange (45 mm about the origin), and a wall y = 70."""
    face = _plane(48, 48, 1)
    away = np.linalg.norm(face[:, :2], axis=1)
    face = face[away <= 45]
    for x, y, radius in OPENINGS[openings]:
        face = face[np.linalg.norm(face[:, :2] - (x, y), axis=1) > radius]
    wall = _plane(80, 70, 2)[:, [0, 2, 1]] + (0, WALL_Y, 50)
    return np.vstack([face, wall] + ([] if more is None else [more]))


def _check(folder: Path, bay: Array, contact: str = CONTACT, gap: float = 10) -> CheckResult:
    _flanged_pipe().export(folder / "part.stl")
    trimesh.PointCloud(bay).export(folder / "bay.ply")
    (folder / "job.toml").write_text(JOB.format(contact=contact, ends=RIM).replace("gap = 10", f"gap = {gap:g}"))
    return check(folder / "job.toml")


def test_what_the_flange_sits_on_fails_unless_it_is_named(tmp_path: Path):
    result = _check(tmp_path, _bay(), contact="")
    assert result.verdict is not Verdict.PASS
    assert result.zones[0].sweep.clearance.lower < 0.5
    assert any("touch" in note for note in result.notes)


def test_named_it_leaves_the_wall(tmp_path: Path):
    result = _check(tmp_path, _bay())
    (zone,) = result.zones
    # Wall at y = 70, flange of radius 45. Nearer by the largest noise over the points beside, 3 sigma or so.
    assert zone.sweep.clearance.upper == pytest.approx(WALL_Y - 45, abs=5 * NOISE_MM)
    assert result.verdict is Verdict.PASS, result.reason
    assert any("meant to touch were left out" in note for note in result.notes)


def test_a_gap_beyond_the_wall_still_fails(tmp_path: Path):
    assert _check(tmp_path, _bay(), gap=30).verdict is Verdict.FAIL


def _bolt_head() -> Array:
    """Head 13 mm across and 6 mm high on the port face at (0, -32)."""
    a, r = np.meshgrid(np.arange(0, 6.2, 0.2), np.arange(0.5, 6.6, 1.0))
    top = np.column_stack([(r * np.cos(a)).ravel(), (r * np.sin(a)).ravel(), np.full(a.size, 6.0)])
    a, z = np.meshgrid(np.arange(0, 6.2, 0.2), np.arange(0.5, 6.1, 1.0))
    side = np.column_stack([6.5 * np.cos(a).ravel(), 6.5 * np.sin(a).ravel(), z.ravel()])
    head: Array = np.vstack([top, side]) + np.array([0, -32, 0])
    return head


def test_a_bolt_head_beside_the_pipe_still_counts(tmp_path: Path):
    result = _check(tmp_path, _bay(more=_bolt_head()))
    # It stands in the flange's 8 mm: the part and it cannot be in one place.
    assert result.verdict is Verdict.FAIL
    assert result.zones[0].sweep.clearance.upper <= 0
    assert np.linalg.norm(result.zones[0].sweep.on_zone - (0, -32, 3)) < 10


BOLT = "{ cylinder = { from = [0, -32, -3], to = [0, -32, 9], diameter = 15 } }"
LEFT_OUT = f'left_out = [{{ name = "old bolt", where = {BOLT} }}]'


def _with_left_out(text: str, where: str = LEFT_OUT) -> str:
    return text.replace("accuracy = 0.02\n", f"accuracy = 0.02\n{where}\n")


def test_what_the_job_leaves_out_does_not_count_and_is_told_beside_the_verdict(tmp_path: Path):
    _check(tmp_path, _bay(more=_bolt_head()))
    job = tmp_path / "job.toml"
    job.write_text(_with_left_out(job.read_text()))
    result = check(job)
    assert result.verdict is Verdict.PASS, result.reason
    assert result.zones[0].sweep.clearance.upper == pytest.approx(WALL_Y - 45, abs=5 * NOISE_MM)
    assert "'old bolt'. NOTHING there was checked" in looked_for(result)
    (note,) = [note for note in result.notes if note.startswith("old bolt: ")]
    # The head's top, 6 mm up, lies 2 mm below the flange's upper side: its points are up to that deep in the part.
    assert "-6.0 mm" in note or "-2." in note or "-3." in note
    write_results(result, tmp_path / "report")
    assert not verify(tmp_path / "report").faults


def test_a_zones_own_shape_keeps_what_is_left_out_of_the_rest(tmp_path: Path):
    _check(tmp_path, _bay(more=_bolt_head()))
    job = tmp_path / "job.toml"
    named = f'[[zone]]\nname = "bolt"\nkind = "chassis"\nrides = "engine"\nwhere = {BOLT}\ngap = 1\n'
    job.write_text(_with_left_out(job.read_text(), LEFT_OUT.replace("diameter = 15", "diameter = 40")) + named)
    result = check(job)
    assert result.verdict is Verdict.FAIL
    assert {zone.zone.name: zone.verdict for zone in result.zones}["bolt"] is Verdict.FAIL


def test_a_place_to_leave_out_that_holds_nothing_is_refused(tmp_path: Path):
    _check(tmp_path, _bay())
    job = tmp_path / "job.toml"
    job.write_text(_with_left_out(job.read_text(), LEFT_OUT.replace("-32, ", "-320, ")))
    with pytest.raises(InputError, match=r"bay.left_out 'old bolt': no scan point lies in it"):
        check(job)


@pytest.mark.parametrize("openings", OPENINGS)
def test_stud_holes_and_the_port_in_the_face_are_no_alarm(tmp_path: Path, openings: str):
    result = _check(tmp_path, _bay(openings=openings))
    assert result.unseen == ()
    assert result.verdict is Verdict.PASS, result.reason


def test_a_hole_in_the_wall_beside_it_is_one(tmp_path: Path):
    bay = _bay()
    bay = bay[np.linalg.norm(bay - (0, WALL_Y, 10), axis=1) > 20]
    # The wall is nearest to the flange at z = 0 to 8: that is where the hole is.
    result = _check(tmp_path, bay, gap=24)
    assert result.verdict is Verdict.UNDECIDED
    assert any(np.linalg.norm(place.centre - (0, WALL_Y, 10)) < 25 for place in result.unseen)


def test_a_face_that_touches_nothing_is_told(tmp_path: Path):
    bay = _bay()
    result = _check(tmp_path, bay[bay[:, 1] > 60])
    assert any("nothing of any zone lies on" in note for note in result.notes)
