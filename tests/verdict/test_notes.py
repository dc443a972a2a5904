"""Notes say what a reader must know, and only where it is so."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from judging import judged

from clearance.verdict.notes import notes_of

JOB = SimpleNamespace(rock=None, zones=(), part=SimpleNamespace(contact=()))


@pytest.mark.parametrize(
    ("at", "told"),
    # The cube's face is at x = 10; guard 1.645 x 0.5 = 0.82 mm.
    [(9.0, True), (10.0, True), (10.7, True), (11.0, False), (40.0, False)],
)
def test_points_that_touch_at_rest_may_be_what_the_part_bolts_onto(cube, placed, wall, at: float, told: bool):
    zone, scan = wall(at, gap=5.0)
    registration = placed(sigma_mm=0.5)
    result = judged(zone, cube, registration, scan, None)
    assert any("bolts onto" in note for note in notes_of(JOB, cube, [result], registration, None, 0, {})) is told


def test_the_nearest_stray_is_told_with_its_place(cube, placed, wall):
    zone, scan = wall(40.0, gap=5.0)
    zone = replace(zone, stray_points=np.array([[35.0, 0.0, 0.0], [12.5, 3.2, -4.4]]))  # The face is at x = 10.
    registration = placed(sigma_mm=0.1)
    result = judged(zone, cube, registration, scan, None)
    (note,) = (n for n in notes_of(JOB, cube, [result], registration, None, 0, {}) if "stray" in n)
    assert "is at 2.50 mm, at [12, 3, -4] in the bay as scanned: look at them" in note
