"""What zones and unseen places take from a sheet, against the distance worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from shield_scenes import box_of, laid_out, lifting, zone_of

from clearance.shield.keep_clear import FORMING_MM, TOLERANCE_MM, KeepClear
from clearance.unseen.result import Unseen

PART = box_of((-20, -20, -20), (20, 20, 20))
FAR_WALL = zone_of(box_of((-500, -500, -600), (500, 500, -500)))
UP_MM, DOWN_MM = 6.0, -2.0


def _unseen(centre: tuple[float, float, float], size: float, needed: float) -> Unseen:
    return Unseen(
        zone="wall", centre=np.array(centre), size_mm=size, nearest_mm=0.0, needed_mm=needed, advice="scan again"
    )


@pytest.mark.parametrize("rock", [None, lifting(DOWN_MM, UP_MM)], ids=["at rest", "lifting"])
def test_an_unseen_place_takes_a_ball_and_what_its_zone_needs(rock):
    """A ball of 8 mm above the part: what lifts with the part comes nearer to it by the whole lift."""
    clear = KeepClear(laid_out(PART, [FAR_WALL], rock), {"wall": 1.0}, air_mm=6.0)
    below = np.array([[0.0, 0, z] for z in (40.0, 60.0, 70.0, 75.0)])
    nearer = UP_MM if rock is not None else 0.0
    wanted = np.maximum(15.0 + 8 / 2 - (90.0 - below[:, 2] - nearer), -TOLERANCE_MM)
    found = clear.short_mm(below, unseen=[_unseen((0, 0, 90), 8.0, 15.0)])
    assert (found >= wanted - 1e-9).all()
    assert (found <= wanted + TOLERANCE_MM).all()
    assert (clear.short_mm(below) == -TOLERANCE_MM).all()


def test_a_zone_takes_its_gap_its_guard_and_what_forming_may_add():
    """Chassis ask of a sheet only the air behind it; a plane wall's distance is the height over it."""
    clear = KeepClear(laid_out(PART, [FAR_WALL]), {"wall": 1.5}, air_mm=6.0)
    above = np.array([[0.0, 0, -500.0 + away] for away in (2.0, 7.0, 8.4, 30.0)])
    for more in (0.0, 2.5):
        wanted = np.maximum(6.0 + 1.5 + FORMING_MM + more - (above[:, 2] + 500.0), -TOLERANCE_MM)
        found = clear.short_mm(above, {"wall": more})
        assert (found >= wanted - 1e-9).all()
        assert (found <= wanted + TOLERANCE_MM).all()
