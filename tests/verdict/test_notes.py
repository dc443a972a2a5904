"""Notes say what a reader must know, and only where it is so."""

from __future__ import annotations

from types import SimpleNamespace

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
