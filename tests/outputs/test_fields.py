"""Which zone decides at a place, and what its colour is told."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.outputs.fields import Field


def _field(values: list[list[float]], gaps: list[float], caps: list[float]) -> Field:
    return Field(np.array(values, float), np.array(gaps), np.array(caps))


def test_the_smallest_margin_decides_not_the_smallest_clearance():
    # 12 mm of 20 is short by 8; 10 mm of 5 has 5 in hand.
    value, gap, _ = _field([[12.0], [10.0]], [20.0, 5.0], [44.0, 11.0]).deciding()
    assert (value[0], gap[0]) == (12.0, 20.0)


@pytest.mark.parametrize(
    ("value", "told"), [(3.0, 3.0), (8.0, 8.0), (15.9, 15.9), (16.0, 16.0), (20.0, 24.0), (18.0, 20.0)]
)
def test_plenty_runs_out_at_the_cap(value: float, told: float):
    # Gap 8: plenty from 16 to the cap at 20 is stretched to the band's own width, 16 to 24.
    colour, _ = _field([[value]], [8.0], [20.0]).for_colours()
    assert colour[0] == pytest.approx(told, abs=1e-9)


def test_a_cap_below_the_gap_never_shows_as_clear():
    colour, gap = _field([[6.0]], [8.0], [6.0]).for_colours()
    assert colour[0] < gap[0]


def test_corners_are_blended_by_their_weights():
    field = _field([[0.0, 3.0, 9.0]], [1.0], [10.0])
    blended = field.at(np.array([[0, 1, 2]]), np.array([[0.5, 1 / 3, 1 / 6]]))
    assert blended.clearance_mm[0, 0] == pytest.approx(2.5, abs=1e-12)
