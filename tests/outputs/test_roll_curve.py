"""The curve of clearance against roll for a bar that turns about one end above a floor: known in closed form.

The bar lies along x from the axis at the origin; its far end, 200 mm out, is a point 30 mm above the floor. Turned by
the angle a it stands 30 + 200 sin(a) above it, less at negative roll; lift by -1 to 2 mm adds to that.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scenes import rocking

from clearance.motion.sweep import sweep
from clearance.outputs.charts import guard_shares, roll_chart, ticks
from clearance.outputs.roll_curve import roll_curve
from clearance.scene.mesh import Mesh

LOW, HIGH, DOWN, UP = -3.0, 5.0, -1.0, 2.0


@pytest.fixture
def zone_and_motion(result):
    bar = Mesh(np.array([[0.0, -1, 0], [0, 1, 0], [200, 0, 0]]), np.array([[0, 1, 2]]))
    side = 400.0
    corners = np.array([[-side, -side, -30], [side, -side, -30], [side, side, -30], [-side, side, -30]])
    floor = Mesh(corners, np.array([[0, 1, 2], [0, 2, 3]]))
    motion = rocking(roll_deg=(LOW, HIGH), lift_mm=(DOWN, UP), direction=[0, -1, 0])
    found = sweep(bar, False, floor, False, motion, 0.02)
    zone = result.zones[1]
    return replace(zone, sweep=found), motion


def true_mm(roll_deg: np.ndarray) -> np.ndarray:
    """Least over the lift: the far end, or the end at the axis where roll lifts the far one."""
    return 30 + DOWN + np.minimum(200 * np.sin(np.radians(roll_deg)), 0)


def test_the_truth_lies_in_the_band(zone_and_motion):
    zone, motion = zone_and_motion
    curve = roll_curve(zone, motion)
    assert curve is not None
    assert curve.edges_deg[[0, -1]] == pytest.approx([LOW, HIGH])
    for low, high, mm in zip(curve.edges_deg, curve.edges_deg[1:], curve.lower_mm, strict=False):
        assert mm <= true_mm(np.linspace(low, high, 20)).min() + 1e-9
    assert (curve.upper_mm >= true_mm(curve.roll_deg) - 1e-9).all()
    # At the worst the band is as narrow as the certified bound.
    worst = np.argmin(curve.upper_mm)
    assert curve.upper_mm[worst] - curve.lower_mm.min() <= 0.02 + 1e-9


def test_no_roll_no_curve(zone_and_motion):
    zone, _ = zone_and_motion
    assert roll_curve(zone, rocking(lift_mm=(DOWN, UP))) is None


def test_the_chart_is_drawn_to_scale(zone_and_motion):
    zone, motion = zone_and_motion
    curve = roll_curve(zone, motion)
    chart = roll_chart(zone, curve)
    ys = {text: y for y, text in chart["y_ticks"]}
    per_mm = (ys["0"] - ys["10"]) / 10
    assert (ys["0"] - chart["worst"][1]) / per_mm == pytest.approx(zone.sweep.clearance.lower, abs=0.1)
    assert (ys["0"] - chart["gap"]) / per_mm == pytest.approx(zone.zone.gap_mm, abs=0.1)
    assert zone.zone.name in chart["words"]


def test_shares_make_up_the_guard(result):
    for zone in result.zones:
        shares = guard_shares(zone.budget)
        assert sum(shares.values()) == pytest.approx(zone.budget.guard)
        assert shares["spacing"] == zone.budget.spacing
        # Variances: registration 0.1^2 against noise 0.05^2.
        assert shares["registration"] / shares["noise"] == pytest.approx(4.0)


@pytest.mark.parametrize(("low", "high", "wanted"), [(0, 10, [0, 2, 4, 6, 8, 10]), (-3, 4, [-2, 0, 2, 4])])
def test_ticks_are_round(low, high, wanted):
    assert ticks(low, high, 5) == wanted
