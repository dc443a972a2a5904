"""The room on scenes whose room is a closed form."""

from __future__ import annotations

import numpy as np
import pytest
from shield_scenes import box_of, laid_out, lifting, zone_of

from clearance.heat.growth import Growth
from clearance.shield.room import NO_ZONE, room

TOLERANCE = 0.2
GUARD, AIR = 1.5, 6.0

BLOCK = box_of((-40, -30, 0), (40, 30, 20), longest=6.0)
FLOOR = box_of((-900, -900, -60), (900, 900, -30))


def _height() -> np.ndarray:
    return BLOCK.vertices[:, 2] + 30.0


def test_over_a_floor_it_is_the_lowest_height_less_the_guard():
    layout = laid_out(BLOCK, [zone_of(FLOOR)], lifting(-4.0, 3.0))
    found = room(layout, {"wall": GUARD}, AIR, cap_mm=35.0, tolerance_mm=TOLERANCE)
    exact = np.minimum(_height() - 4.0 - GUARD, 35.0)
    assert np.all(found.room_mm <= exact + 1e-9)
    assert np.all(found.room_mm >= exact - TOLERANCE - 1e-9)
    assert np.array_equal(found.limiting, np.where(exact < 35.0 - 1e-6, 0, -1))


def test_where_things_move_the_zones_own_gap_is_kept_from_the_sheet():
    layout = laid_out(BLOCK, [zone_of(FLOOR, kind="axle", gap=20.0)])
    found = room(layout, {"wall": GUARD}, AIR, tolerance_mm=TOLERANCE)
    exact = np.minimum(_height() - GUARD - (20.0 - AIR), 40.0)
    assert found.room_mm == pytest.approx(exact, abs=TOLERANCE + 1e-9)


def test_hot_and_cold_both_count():
    growth = Growth(anchor=np.array([0, 0, 100.0]), k_cold=0.995, k_hot=1.02, spread=0.0, text="")
    layout = laid_out(BLOCK, [zone_of(FLOOR)], growth=growth)
    found = room(layout, {"wall": 0.0}, AIR, tolerance_mm=TOLERANCE)
    # All of the part is below the anchor: it comes down as it grows.
    exact = np.minimum(100 - 1.02 * (100 - BLOCK.vertices[:, 2]) + 30, 40.0)
    assert found.room_mm == pytest.approx(exact, abs=TOLERANCE + 1e-9)


def test_points_of_no_zone_take_room_too():
    lone = np.array([[0.0, 0.0, 45.0]])
    layout = laid_out(BLOCK, [zone_of(FLOOR)], unclaimed=lone)
    found = room(layout, {"wall": GUARD}, AIR, tolerance_mm=TOLERANCE)
    top = int(np.argmin(np.linalg.norm(BLOCK.vertices - (0, 0, 20), axis=1)))
    exact = np.linalg.norm(BLOCK.vertices[top] - lone[0]) - GUARD
    assert found.room_mm[top] == pytest.approx(exact, abs=TOLERANCE)
    assert found.zones[found.limiting[top]] == NO_ZONE


def test_share_of_the_sides_below_which_a_build_fits():
    layout = laid_out(BLOCK, [zone_of(FLOOR)])
    found = room(layout, {"wall": 0.0}, AIR, cap_mm=60.0, tolerance_mm=TOLERANCE)
    a, b, c = BLOCK.triangles.swapaxes(0, 1)
    sides = np.abs(np.cross(b - a, c - a)[:, 2]) < 1e-9
    # A build of 40 mm fits where z >= 10: half of the sides. What cannot be proven lies in one row of
    # triangles: edge 6 / sqrt(3) of bound, up to one triangle's height and the tolerance, of 20 mm of height.
    share = found.share_that_fits(40.0, sides)
    assert share <= 0.5
    assert share >= 0.5 - (6 / np.sqrt(3) + 5 + TOLERANCE) / 20
    assert found.share_that_fits(20.0, sides) == 1.0
    assert found.share_that_fits(51.0, sides) == 0.0


def test_every_zone_needs_its_guard():
    with pytest.raises(ValueError, match="no guard is given for zone 'wall'"):
        room(laid_out(BLOCK, [zone_of(FLOOR)]), {})


def test_without_need_there_is_no_share():
    found = room(laid_out(BLOCK, [zone_of(FLOOR)]), {"wall": 0.0})
    with pytest.raises(ValueError, match="no triangle needs"):
        found.share_that_fits(10.0, np.zeros(len(BLOCK.faces), dtype=bool))
