"""Lines of heat against what geometry says of them."""

from __future__ import annotations

import numpy as np
import pytest
from shield_scenes import box_of, hot_points, lifting, lines_to

from clearance.shield.crossing import window

PLATE = box_of((-50, -50, 0), (50, 50, 2), longest=10.0)
BELOW = hot_points((-20, -20), (20, 20), -80.0, 20.0)


def test_each_pose_carries_one_and_ends_on_the_part():
    lines = lines_to(PLATE, BELOW, (0.0, 0, 1), lifting(0.0, 0.0, (-2.0, 2.0)))
    assert np.bincount(lines.pose, lines.power) == pytest.approx([1.0, 1.0, 1.0])
    ends = lines.start + lines.length[:, None] * lines.way
    assert np.abs(ends[lines.pose == 0][:, :2]).max() <= 50 + 1e-3
    assert np.abs(ends[lines.pose == 0][:, 2]).max() <= 2 + 1e-3


def test_half_a_sheet_stops_half():
    """By symmetry: a sheet over the half x < 0, just before the plate, stops half of what points about x = 0 send."""
    lines = lines_to(PLATE, BELOW, (0.0, 0, 1))
    half = box_of((-60, -60, -3), (0, 60, -2))
    assert lines.share_stopped(lines.stopped_by(half)) == pytest.approx(0.5, abs=0.04)
    underside = PLATE.triangles.mean(axis=1)[:, 2] < 0.1
    bare, middle = lines.bare(half, PLATE, underside)
    assert bare == pytest.approx(5000.0, rel=0.05)  # triangles of 10 mm lie across the line
    assert middle == pytest.approx([25.0, 0.0, 0.0], abs=2.0)
    assert lines.bare(half, PLATE, ~underside & (PLATE.triangles[:, :, 2].min(axis=1) > 1.9))[0] == 0.0


def test_a_sheet_behind_the_part_stops_nothing():
    lines = lines_to(PLATE, BELOW, (0.0, 0, 1))
    assert lines.share_stopped(lines.stopped_by(box_of((-60, -60, 5), (60, 60, 6)))) == 0.0
    assert lines.share_stopped(lines.stopped_by(box_of((-60, -60, -6), (60, 60, -5)))) == pytest.approx(1.0)


def test_the_worst_pose_counts():
    lines = lines_to(PLATE, BELOW, (0.0, 0, 1), lifting(0.0, 0.0, (-8.0, 8.0)))
    stopped = lines.stopped_by(box_of((-30, -60, -30), (30, 60, -29)))
    shares = np.bincount(lines.pose, lines.power * stopped)
    assert lines.share_stopped(stopped) == pytest.approx(shares.min())
    assert shares.min() < shares[0]


def test_the_window_is_the_shortest_and_goes_over_the_seam():
    t = np.array([1.0, 2.0, 3.0, 97.0, 98.0])
    found = window(t, np.linspace(10, 20, 5), np.ones(5), (0.0, 100.0), 1.0, 100.0)
    assert found.t == pytest.approx((96.0, 104.0))
    assert found.s == pytest.approx((9.0, 21.0))
