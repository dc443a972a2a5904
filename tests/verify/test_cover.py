"""Covers of boxes of angles, with and without holes, in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.verify.cover import hole

ONE = np.array([-1.0]), np.array([2.0])
TWO = np.array([0.0, 0.0]), np.array([1.0, 1.0])


def _told(box, cells):
    rows = np.array(cells, dtype=float)
    a = len(box[0])
    return hole(*box, rows[:, :a], rows[:, a:])


def test_a_range_cut_in_pieces_of_any_order_is_covered():
    assert _told(ONE, [[0.1, 2.0], [-1.0, -0.3], [-0.3, 0.1]]) is None
    assert _told(ONE, [[-1.0, 0.5], [0.2, 2.0]]) is None


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ([[-1.0, 0.1], [np.nextafter(0.1, 1), 2.0]], "hole"),
        ([[-1.0, 1.9]], "short"),
        ([[-0.9, 2.0]], "short"),
        ([[-1.0, 2.5]], "beyond"),
        ([[0.5, -1.0], [-1.0, 2.0]], "reversed"),
        ([[-1.0, np.nan], [-1.0, 2.0]], "not a number"),
    ],
)
def test_what_is_wrong_is_told(cells, told):
    assert told in _told(ONE, cells)


def test_no_cells():
    assert "no cells" in hole(*ONE, np.zeros((0, 1)), np.zeros((0, 1)))


def test_a_pinwheel_in_two_angles():
    """Five boxes that no straight cut parts; without the middle one a hole is left that no edge shows."""
    wheel = [[0, 0, 0.6, 0.4], [0.6, 0, 1, 0.6], [0.4, 0.6, 1, 1], [0, 0.4, 0.4, 1], [0.4, 0.4, 0.6, 0.6]]
    assert _told(TWO, wheel) is None
    assert "hole" in _told(TWO, wheel[:-1])


def test_an_angle_that_does_not_move():
    still = np.array([0.0, -1.0]), np.array([0.0, 1.0])
    assert _told(still, [[0, -1, 0, 0.2], [0, 0.2, 0, 1]]) is None
    assert "hole" in _told(still, [[0, -1, 0, 0.2], [0, 0.3, 0, 1]])
    assert hole(np.zeros(0), np.zeros(0), np.zeros((1, 0)), np.zeros((1, 0))) is None
