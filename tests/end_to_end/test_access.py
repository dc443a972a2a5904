"""Accesses through whole jobs: a bracket on two studs beside a wall."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import trimesh
from solid_jobs import HEAD, solid_zone

from clearance import check, write_results
from clearance.errors import InputError
from clearance.verdict.result import Verdict
from clearance.verify.verify import verify

ZONES = solid_zone("box = { min = [60, -200, -200], max = [80, 200, 200] }", 5, name="wall") + solid_zone(
    "box = { min = [20, 40, -20], max = [40, 60, 20] }", 5, name="hand"
).replace('"chassis"', '"access"')


@pytest.fixture
def job(tmp_path: Path):
    def write(access: str, more: str = "shift = [0, 0, 0]") -> Path:
        trimesh.creation.box([20, 60, 10]).export(tmp_path / "part.stl")
        (tmp_path / "job.toml").write_text(f"{HEAD}{more}\n{ZONES}\n{access}")
        return tmp_path / "job.toml"

    return write


def way(text: str) -> str:
    return f'[[access]]\nname = "it"\n{text}\n'


@pytest.mark.parametrize(
    ("access", "verdict"),
    [
        ("slide = { along = [1, 0, 0], length = 49.5 }", Verdict.PASS),
        ("slide = { along = [1, 0, 0], length = 50.5 }", Verdict.FAIL),
        (
            "path = [ { shift = [-30, 0, 0] }, { shift = [0, 0, 90], turn = { axis = [0, 0, 1], degrees = 90 } } ]",
            Verdict.PASS,
        ),
        ('tool = { kind = "socket", thread = "M8", at = [10, 20, 0], axis = [1, 0, 0] }', Verdict.FAIL),
        ('tool = { kind = "spanner", thread = "M8", at = [10, 20, 0], axis = [1, 0, 0] }', Verdict.PASS),
    ],
)
def test_what_comes_of_an_access_is_the_jobs_verdict(job, access, verdict):
    """The wall stands 50 from the part's front: a slide of 49.5 fits, a socket of 32 with a head of 30 does not."""
    result = check(job(way(access)))
    assert result.verdict is verdict, result.reason
    assert all(zone.verdict is Verdict.PASS for zone in result.zones)


def test_an_access_in_doubt_keeps_the_job_from_passing_and_room_kept_for_a_hand_is_no_thing(job):
    slide = way("slide = { along = [0, 1, 0], length = 40 }")
    assert check(job(slide)).verdict is Verdict.PASS, "the room for a hand stands 10 before the part"
    near = way("slide = { along = [1, 0, 0], length = 49.5 }")
    doubt = check(job(near, "shift = [0, 0, 0]\nsigma_shift = 0.5"))
    assert doubt.verdict is Verdict.UNDECIDED
    assert doubt.reason.startswith("access it:")


def test_the_report_holds_it_and_is_verified(job, tmp_path):
    result = check(job(way('tool = { kind = "socket", thread = "M8", at = [10, 20, 0], axis = [1, 0, 0] }')))
    write_results(result, tmp_path / "report")
    told = json.loads((tmp_path / "report" / "report.json").read_text())
    assert told["access"][0]["outcome"] == "blocked"
    assert told["access"][0]["nearest"]["to"] == "wall"
    page = (tmp_path / "report" / "report.html").read_text()
    assert "Getting it on and off" in page
    assert "does not fit past wall" in page
    found = verify(tmp_path / "report")
    assert not found.faults
    assert any("access" in note for note in found.notes)


def test_an_unknown_key_is_told(job):
    with pytest.raises(InputError, match="access 'it': slide"):
        check(job(way("slide = { along = [1, 0, 0], lenght = 10 }")))
