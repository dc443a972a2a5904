"""Whole reports of links: they verify, tampered they do not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tampering import (
    axes_skewed,
    axes_turned,
    caught,
    cell_raised,
    cell_removed,
    holds,
    in_job,
    in_sweep,
    narrowed,
    pose_changed,
    raised,
    witness_moved,
)

from clearance.motion.shaft import shaft_of
from clearance.verify.verify import verify

LINKED = {
    "bounds raised": (raised, "a pose in it has"),
    "cell removed": (cell_removed(0), "the cells leave a hole"),
    "cell raised": (in_sweep(cell_raised), "a pose in it has"),
    "range narrowed": (in_sweep(narrowed), "a state of the shaft points beyond"),
    "axes turned": (in_sweep(axes_turned), "a state of the shaft points beyond"),
    "axes skewed": (in_sweep(axes_skewed), "right angles"),
    "axes left out": (in_sweep(lambda sweep: sweep.update(link_axes=None)), "does not tell the axes"),
    "worst pose changed": (pose_changed("travel_deg", 0.2), "apart at the worst pose"),
    "worst pose out of reach": (pose_changed("lift_mm", 4.0), "outside the job's motion"),
    "joint moved in the job": (in_job("chassis = [80.0, 250.0, 40", "chassis = [80.0, 250.0, 30"), "right angles"),
    "travel widened in the job": (in_job("degrees = [-2.0, 2.0]", "degrees = [-2.0, 2.4]"), "points beyond"),
    "witness moved": (witness_moved("on_zone_mm", 2, 0.2), "off the zone"),
}


def test_linked_untouched_it_verifies(kinds):
    holds(kinds("linked"))


@pytest.mark.parametrize("name", LINKED)
def test_linked_tampered_it_does_not(copy_of, name):
    caught(copy_of("linked"), *LINKED[name])


def test_a_link_whose_states_are_not_all_enclosed_is_told(monkeypatch, make_of):
    """The report is made with a rectangle of pointing angles a tenth too narrow, and verified with it."""

    def narrow(*given):
        shaft = shaft_of(*given)
        middle, half = (shaft.low + shaft.high) / 2, (shaft.high - shaft.low) / 2
        return replace(shaft, low=middle - 0.9 * half, high=middle + 0.9 * half)

    monkeypatch.setattr("clearance.motion.pair.shaft_of", narrow)
    found = verify(make_of("linked").report)
    assert any("points beyond the cells" in fault for fault in found.faults), found.faults
