"""Whole reports that hold, and what of them is said not to be proved; the command's exit codes."""

from __future__ import annotations

import sys

import numpy as np
import pytest
import trimesh

from clearance.errors import InputError
from clearance.verify.text import lines
from clearance.verify.verify import verify


@pytest.fixture
def run(monkeypatch, capfd):
    from clearance.cli import main

    def go(*arguments: object) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["clearance", *map(str, arguments)])
        with pytest.raises(SystemExit) as end:
            main()
        out, err = capfd.readouterr()
        return int(end.value.code or 0), out, err

    return go


def test_an_untouched_report_verifies_and_says_what_it_proved(made):
    found = verify(made.report)
    assert (found.faults, found.exit_code) == ((), 0)
    for zone in found.zones:
        assert zone.claimed_mm - 0.01 <= zone.proved_mm <= zone.claimed_mm
    assert sum(line.startswith("re-proved: ") for line in lines(found)) == 3


def test_the_command_ends_with_0_1_and_2(folder, run):
    assert run("verify", folder.report, "-q")[0] == 0
    folder.edit("report.json", lambda tree: tree.update(verdict="fail"))
    code, out, _ = run("verify", folder.report, "-q")
    assert code == 1
    assert out.startswith("NOT VERIFIED")
    (folder.report / "certificate.json").write_text("{}")
    code, out, err = run("verify", folder.report, "-q")
    assert (code, out) == (2, "")
    assert "certificate.json" in err


@pytest.mark.parametrize("missing", ["report.json", "certificate.json", "job.toml"])
def test_what_is_no_report_is_refused(folder, missing):
    (folder.report / missing).unlink()
    with pytest.raises(InputError):
        verify(folder.report)


def test_what_cannot_be_proved_again_is_said_and_does_not_count_as_verified(made, monkeypatch):
    monkeypatch.setattr("clearance.verify.sweeps.QUESTIONS", 0)
    found = verify(made.report)
    assert (found.faults, found.exit_code) == ((), 3)
    assert "not re-proved: wall: gave up" in "\n".join(lines(found))


def test_cells_of_a_motion_that_the_zone_has_not_are_a_fault(folder):
    folder.edit("certificate.json", lambda t: t["zones"][0]["sweeps"][0].update(angles=["link_a"]))
    assert any("a motion that the zone has not: link_a" in fault for fault in verify(folder.report).faults)


def test_interference_is_shown_by_its_witness(build):
    folder = build("max = [10, -50, 90]", "max = [10, -14, 90]")
    found = verify(folder.report)
    assert (found.faults, found.exit_code) == ((), 0)
    assert "how deep" in "\n".join(lines(found))

    def deeper(tree):
        tree["clearance_mm"]["upper"] -= 0.5

    folder.edit("report.json", lambda t: deeper(t["zones"][2]))
    folder.edit("certificate.json", lambda t: deeper(t["zones"][2]["sweeps"][0]))
    folder.rehash()
    assert verify(folder.report).exit_code == 1


def test_a_swallowed_zone_cannot_be_passed_off_as_clear(build):
    """A cable inside the bar, 16 mm from its skin, is no clearance of 16 mm, whatever the report says."""
    folder = build()
    points = np.asarray(trimesh.load(folder.root / "bay.ply").vertices)
    cable = np.column_stack([np.linspace(-15, 15, 40), np.zeros(40), np.zeros(40)])
    trimesh.PointCloud(np.vstack([points, cable])).export(folder.root / "bay.ply")
    folder.rehash()
    assert any("inside the other" in fault or "a pose in it" in fault for fault in verify(folder.report).faults)
