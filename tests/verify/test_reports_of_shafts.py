"""Whole reports of shafts fitted to scan points and of links: they verify, tampered they do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tampering import (
    axes_skewed,
    axes_turned,
    caught,
    cell_raised,
    cell_removed,
    each_of,
    holds,
    in_budget,
    in_fit,
    in_job,
    in_scan,
    in_sweep,
    in_zone,
    lowered,
    narrowed,
    pose_changed,
    raised,
    witness_moved,
)

from clearance.motion.shaft import shaft_of
from clearance.scene.fit_cylinder import fit_cylinder
from clearance.verify.verify import verify

OFF_FIT = "off the one that the job's fit gives"
FITTED = {
    "bounds raised": (raised, "a pose in it has"),
    "cell removed": (cell_removed(0), "leave a hole"),
    "radius shrunk": (in_fit("radius_mm", -0.2), OFF_FIT),
    "axis lifted": (each_of(in_fit("from_mm", 0.2, 2), in_fit("to_mm", 0.2, 2)), OFF_FIT),
    "shortened": (in_fit("to_mm", -20.0, 0), OFF_FIT),
    "fit left out": (in_zone(lambda zone: zone.update(fit=None)), "differ on a fitted shaft"),
    "said to be sure": (
        each_of(in_zone(lambda zone: zone["fit"].update(sigma_mm=1e-3)), in_budget("fit", 1e-3)),
        "noise alone makes",
    ),
    "sure in the budget alone": (in_budget("fit", 1e-3), "for the fit, its certificate"),
    "facets made up": (in_zone(lambda zone: zone.update(facet_mm=0.4)), "for facets"),
    "scan lowered": (in_scan(lowered), "off the one fitted again"),
    "fitted no more in the job": (in_job('fit = "cylinder"\n', ""), "the job does not"),
}

LINKED = {
    "bounds raised": (raised, "a pose in it has"),
    "cell removed": (cell_removed(0), "leave a hole"),
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


def test_fitted_untouched_it_verifies(kinds):
    holds(kinds("fitted"))


@pytest.mark.parametrize("name", FITTED)
def test_fitted_tampered_it_does_not(copy_of, name):
    caught(copy_of("fitted"), *FITTED[name])


def test_linked_untouched_it_verifies(kinds):
    holds(kinds("linked"))


@pytest.mark.parametrize("name", LINKED)
def test_linked_tampered_it_does_not(copy_of, name):
    caught(copy_of("linked"), *LINKED[name])


def _smaller(*given):
    fit, explained = fit_cylinder(*given)
    return replace(fit, radius_mm=fit.radius_mm - 0.3), explained


def _greedy(*given):
    fit, explained = fit_cylinder(*given)
    return fit, np.ones_like(explained)


@pytest.mark.parametrize(
    ("wrong", "told"),
    [(_smaller, "off the one fitted again"), (_greedy, "were left out though they touch nothing")],
)
def test_a_shaft_fitted_wrong_is_told(monkeypatch, make_of, wrong, told):
    """The report is made with the fault, and verified with it."""
    monkeypatch.setattr("clearance.scene.zones.fit_cylinder", wrong)
    found = verify(make_of("fitted").report)
    assert any(told in fault for fault in found.faults), found.faults


def test_a_link_whose_states_are_not_all_enclosed_is_told(monkeypatch, make_of):
    """The report is made with a rectangle of pointing angles a tenth too narrow, and verified with it."""

    def narrow(*given):
        shaft = shaft_of(*given)
        middle, half = (shaft.low + shaft.high) / 2, (shaft.high - shaft.low) / 2
        return replace(shaft, low=middle - 0.9 * half, high=middle + 0.9 * half)

    monkeypatch.setattr("clearance.motion.pair.shaft_of", narrow)
    found = verify(make_of("linked").report)
    assert any("points beyond the cells" in fault for fault in found.faults), found.faults
