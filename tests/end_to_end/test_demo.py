"""`clearance demo` against the truth about its scene, found by brute force when the scene was made."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
TRUTH = json.loads((ROOT / "scans_demo" / "truth.json").read_text())["jobs"]
JOBS = ("rev_a", "rev_b", "rev_b_gap_in_scan")


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """Folder of the reports and what the terminal showed."""
    out = tmp_path_factory.mktemp("demo")
    command = [sys.executable, "-m", "clearance", "demo", "-o", str(out), "--quiet"]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    return out, run.stdout


def _report(demo: tuple[Path, str], job: str) -> dict:
    return json.loads((demo[0] / job / "report.json").read_text())


def test_rev_a_fails_at_full_roll_on_the_rail_alone(demo):
    report = _report(demo, "rev_a")
    assert report["verdict"] == "fail"
    assert {zone["name"]: zone["verdict"] for zone in report["zones"]} == {
        "frame rail": "fail",
        "left shaft": "pass",
        "brake line": "pass",
        "bulkhead": "pass",
        "wastegate actuator": "pass",
        "everything else": "pass",
    }
    rail = report["zones"][0]
    assert rail["worst_pose"]["roll_deg"] == pytest.approx(4, abs=0.05)
    # It clears the rail at rest, even with the guard in hand.
    assert TRUTH["rev_a"]["frame rail"]["at_rest"]["lower_mm"] - rail["budget_mm"]["guard"] > 20
    # Up and away from the rail beneath is the way out.
    assert report["fixes"][0]["direction"][2] > 0.9


def test_rev_b_passes(demo):
    report = _report(demo, "rev_b")
    assert report["verdict"] == "pass"
    assert {zone["verdict"] for zone in report["zones"]} == {"pass"}


def test_the_hole_over_the_rail_is_found(demo):
    report = _report(demo, "rev_b_gap_in_scan")
    assert report["verdict"] == "undecided"
    assert report["zones"][0]["verdict"] == "undecided"
    assert report["unseen"][0]["zone"] == "frame rail"
    assert "scan it again" in report["reason"]


@pytest.mark.parametrize("job", JOBS)
def test_every_report_says_what_of_the_unseen_was_looked_for(demo, job):
    said = _report(demo, job)["unseen_looked_for"]
    assert said in (demo[0] / job / "report.html").read_text()
    assert "look at the car" in said


@pytest.mark.parametrize("job", ["rev_a", "rev_b"])
def test_the_true_clearance_lies_within_bound_and_guard(demo, job):
    for zone in _report(demo, job)["zones"]:
        truth, budget = TRUTH[job][zone["name"]]["over_rock"], zone["budget_mm"]
        assert zone["clearance_mm"]["lower"] - budget["guard"] <= truth["upper_mm"], zone["name"]
        # The spacing works one way only: the surface can be nearer than the points, not farther.
        assert zone["clearance_mm"]["upper"] + budget["guard"] - budget["spacing"] >= truth["lower_mm"], zone["name"]
