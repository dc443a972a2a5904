"""Whole reports of a part that grows with heat: they verify, tampered they do not, and no bug in the growth passes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tampering import (
    caught,
    cell_raised,
    cell_removed,
    factor_changed,
    holds,
    in_budget,
    in_job,
    in_row,
    in_sweep,
    in_zone,
    longer,
    lower_raised,
    raised,
    witness_moved,
)

from clearance.heat.growth import growth_of
from clearance.verify.verify import verify

GROWS = {
    "bounds raised": (raised, "a pose in it has"),
    "bound over all temperatures raised": (lower_raised, "not that of its certificate"),
    "cell removed, hot": (cell_removed(-1), "leave a hole"),
    "cell raised, cold": (in_sweep(cell_raised), "a pose in it has"),
    "factor changed": (factor_changed(1.006), "its sweeps are of factors"),
    "hottest sweep dropped": (in_zone(lambda zone: zone["sweeps"].pop()), "its sweeps are of factors"),
    "factor of the certificate changed": (
        lambda folder: folder.edit("certificate.json", lambda t: t["growth"].update(k_hot=1.006)),
        "the certificate has k_hot",
    ),
    "growth left out": (
        lambda folder: folder.edit("certificate.json", lambda t: t.update(growth=None)),
        "differ on growth",
    ),
    "colder in the job": (in_job("part_temperature = 500.0", "part_temperature = 480.0"), "certificate has k_hot"),
    "another material": (in_job('material = "304"', 'material = "309"'), "the certificate has k_hot"),
    "anchor moved in the job": (in_job("point = [-100.0, 0.0", "point = [-98.0, 0.0"), "off its anchor"),
    "growth left out of the budget": (in_budget("growth", 0.0), "for the growth"),
    "said to be cold": (in_row(lambda row: row.update(hot=False)), "not at the temperature"),
    "witness moved": (witness_moved("on_part_mm", 0, 0.01), "off the part"),
    "part replaced": (longer, "a pose in it has"),
}


def test_grows_untouched_it_verifies(kinds):
    holds(kinds("grows"))


@pytest.mark.parametrize("name", GROWS)
def test_grows_tampered_it_does_not(copy_of, name):
    caught(copy_of("grows"), *GROWS[name])


@pytest.mark.parametrize(
    ("wrong", "told"), [({"k_hot": 1.0050}, "the certificate has k_hot"), ({"anchor": [-90.0, 0, 0]}, "off its anchor")]
)
def test_a_growth_worked_out_wrong_is_told(monkeypatch, make_of, wrong, told):
    """The report is made with the fault, and verified with it."""
    wrong = {name: np.array(value) if name == "anchor" else value for name, value in wrong.items()}
    monkeypatch.setattr("clearance.layout.placement.growth_of", lambda job: replace(growth_of(job), **wrong))
    found = verify(make_of("grows").report)
    assert any(told in fault for fault in found.faults), found.faults


def test_a_changed_part_is_found_by_its_hash(copy_of):
    folder = copy_of("grows")
    longer(folder)
    assert any("bar.stl is not the file" in fault for fault in verify(folder.report).faults)
