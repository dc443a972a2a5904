"""Points beside a moving zone's place are moved along: the nearest they come is that of a swing in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.motion.pair import PairMotion
from clearance.motion.zone_motion import Travel
from clearance.verdict.beside import moved_along


def _swing(degrees: float) -> PairMotion:
    """Swing about y through (-100, 0, -100)."""
    low = float(np.radians(-degrees))
    point, direction = np.array([-100.0, 0, -100]), np.array([0.0, 1, 0])
    return PairMotion(travel=Travel(point=point, direction=direction, range_rad=(low, 0.0)))


@pytest.mark.parametrize(("needed", "told"), [(29.5, False), (31.0, True)])
def test_a_point_that_swings_towards_the_part(cube, needed, told):
    """On a circle of radius 100 about the joint, against a square of half width 10, asked at 100001 angles."""
    beside = np.array([[0.0, 0.0, -100.0]])
    angle = np.radians(np.linspace(0, 45, 100_001))
    x, z = -100 + 100 * np.cos(angle), -100 + 100 * np.sin(angle)
    least = np.hypot(np.maximum(np.abs(x) - 10, 0), np.maximum(np.abs(z) - 10, 0)).min()
    why = moved_along(beside, cube, _swing(45), least + (needed - 30.0))
    assert (why is not None) is told
    if why is not None:
        assert "near [0, 0, -100]" in why
        assert f"within {least:.1f} mm" in why


def test_nothing_beside_keeps_nothing_from_passing(cube):
    assert moved_along(None, cube, _swing(45), 100.0) is None
    assert moved_along(np.zeros((0, 3)), cube, _swing(45), 100.0) is None
