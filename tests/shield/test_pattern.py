"""Patterns of folded panels against their closed forms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shield_scenes import SHEET_MM as SHEET
from shield_scenes import blank_of, u_panel

from clearance.shield.pattern import flat_pattern


def test_a_channel_is_a_rectangle_as_wide_as_the_sheets_middle_is_round():
    """Round two square corners the middle is longer than the inner side by twice half the sheet at each."""
    (piece,) = flat_pattern(blank_of(u_panel())).pieces
    assert piece.size == pytest.approx([30 + 50 + 30 + 4 * SHEET / 2, 80.0])
    assert len(piece.rims) == 1
    assert len(piece.rims[0]) == 4
    x, y = piece.rims[0].T
    assert (x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2 == pytest.approx(111 * 80)  # counter-clockwise


def test_folds_lie_where_the_middle_turns():
    (piece,) = flat_pattern(blank_of(u_panel())).pieces
    assert [np.degrees(fold.angle_rad) for fold in piece.folds] == pytest.approx([90.0, 90.0])
    assert piece.folds[0].ends == pytest.approx(np.array([[30 + SHEET / 2, 0.0], [30 + SHEET / 2, 80.0]]))
    assert piece.folds[1].ends[:, 0] == pytest.approx([80 + 3 * SHEET / 2] * 2)


def test_its_distortion_is_that_of_bends_drawn_sharp():
    """A quarter bend over an inside radius of one sheet: arc 1.5 t pi / 2 against 3 t to the sharp corner."""
    (piece,) = flat_pattern(blank_of(u_panel())).pieces
    assert piece.distortion == pytest.approx(2 * (3 * SHEET - 1.5 * SHEET * np.pi / 2) / 111, rel=1e-6)


def test_a_fold_goes_only_where_there_is_sheet():
    holed = u_panel().cut(np.linalg.norm(u_panel().inner.vertices - (40, 25, 0), axis=1) - 15.0)
    (piece,) = flat_pattern(blank_of(holed)).pieces
    assert len(piece.rims) == 2
    ends = np.sort([fold.ends[:, 1] for fold in piece.folds if fold.ends[0, 0] < 40], axis=1)
    assert ends[np.argsort(ends[:, 0])] == pytest.approx(np.array([[0.0, 25.0], [55.0, 80.0]]), abs=0.5)


def test_up_points_from_the_flange_to_the_back():
    """Of the first flange, which stands upright, the fold is the upper end; of the back, which lies flat, none is."""
    standing = u_panel().cut(u_panel().inner.vertices[:, 1] - 24.9)
    (piece,) = flat_pattern(blank_of(standing)).pieces
    assert piece.up == pytest.approx([1.0, 0.0], abs=1e-9)
    lying = u_panel().cut(24.0 - np.abs(u_panel().inner.vertices[:, 1]))
    (piece,) = flat_pattern(blank_of(lying)).pieces
    assert piece.up == pytest.approx([0.0, 0.0])


def test_pieces_name_what_they_meet():
    first = u_panel()
    beside = replace(first, corners=first.corners + np.array([80.0, 0, 0]))
    far = replace(first, corners=first.corners + np.array([500.0, 0, 0]))
    a, b, c = flat_pattern(blank_of(first, beside, far)).pieces
    assert ([name for name, _ in a.joins], [name for name, _ in b.joins], c.joins) == (["B"], ["A"], ())
    assert a.joins[0][1][1] == pytest.approx(80.0, abs=8.0)


def test_an_empty_blank_has_no_pattern():
    with pytest.raises(ValueError, match="empty blank"):
        flat_pattern(blank_of())
