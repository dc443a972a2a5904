"""Whole reports of shafts fitted to scan points: they verify, tampered they do not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tampering import (
    caught,
    cell_removed,
    each_of,
    holds,
    in_budget,
    in_fit,
    in_job,
    in_scan,
    in_zone,
    lowered,
    raised,
)

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


def test_fitted_untouched_it_verifies(kinds):
    holds(kinds("fitted"))


@pytest.mark.parametrize("name", FITTED)
def test_fitted_tampered_it_does_not(copy_of, name):
    caught(copy_of("fitted"), *FITTED[name])


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
