"""Whole reports of parts that sit on a face: they verify, tampered they do not, and no bug in the mask passes."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tampering import (
    caught,
    cell_raised,
    holds,
    in_job,
    in_scan,
    in_sweep,
    in_zone,
    raised,
    ring_nearer,
)

from clearance.scene.contact import placed_faces
from clearance.verify.verify import verify

SEATED = {
    "bounds raised": (raised, "a pose in it has"),
    "mask widened in the job": (in_job("radius = 46.0", "radius = 63.0"), "its certificate masks"),
    "mask moved in the job": (in_job("point = [0.0, 0.0, 0.0]", "point = [0.0, 9.0, 0.0]"), "its certificate masks"),
    "more said to be masked": (in_zone(lambda zone: zone["contact"].update(points=9999)), "its certificate masks"),
    "nothing said to be masked": (in_zone(lambda zone: zone.update(contact=None)), "its certificate masks 0"),
    "nothing touches in the job": (in_job('contact = ["flange"]', "contact = []"), "a pose in it has"),
    "scan moved nearer": (in_scan(ring_nearer), "a pose in it has"),
    "cell raised": (in_sweep(cell_raised), "a pose in it has"),
}

ON_A_BODY = {
    "bounds raised": (raised, "a pose in it has"),
    "mask widened in the job": (in_job("radius = 46.0", "radius = 50.0"), "its certificate masks"),
    "more said to be masked": (in_zone(lambda z: z["contact"].update(area_mm2=7000.0)), "its certificate masks"),
    "nothing said to be masked": (in_zone(lambda zone: zone.update(contact=None)), "its certificate masks 0.000"),
}


def test_seated_untouched_it_verifies(kinds):
    holds(kinds("seated"))


@pytest.mark.parametrize("name", SEATED)
def test_seated_tampered_it_does_not(copy_of, name):
    caught(copy_of("seated"), *SEATED[name])


def test_on_a_body_untouched_it_verifies(kinds):
    holds(kinds("on a body"))


@pytest.mark.parametrize("name", ON_A_BODY)
def test_on_a_body_tampered_it_does_not(copy_of, name):
    caught(copy_of("on a body"), *ON_A_BODY[name])


@pytest.mark.parametrize(
    ("kind", "told"),
    [("seated", "were left out though they touch nothing"), ("on a body", "gone from outside the discs")],
)
def test_a_mask_that_is_too_wide_is_told(monkeypatch, make_of, kind, told):
    """The report is made with discs 1.4 times as wide as the job says, and verified with them."""

    def wide(*given):
        return tuple(replace(face, radius_mm=1.4 * face.radius_mm) for face in placed_faces(*given))

    monkeypatch.setattr("clearance.layout.layout.placed_faces", wide)
    found = verify(make_of(kind).report)
    assert any(told in fault for fault in found.faults), found.faults
