"""Lower bounds per point against closed forms and against many poses."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree
from shield_scenes import box_of, lifting, zone_of

from clearance.heat.growth import Growth
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.rock import rock_from
from clearance.motion.zone_motion import Travel, ZoneMotion
from clearance.scene.zone import Zone
from clearance.shield.approach import approach

TOLERANCE = 0.1
ROUNDING = 1e-9


def _points_zone(points) -> Zone:
    return Zone(
        name="z", table="z", kind="chassis", rides="chassis", gap_mm=5.0, points=points, stray_points=np.zeros((0, 3))
    )


def test_over_a_floor_that_the_part_is_lowered_and_rolled_towards():
    # A point at radius r and angle a about the y axis stands z = r sin(a + roll) high: the least over a range
    # of roll is a closed form, whatever the sampling. (Roll is right-handed about +y: z falls as it grows.)
    rng = np.random.default_rng(3)
    points = np.column_stack([rng.uniform(30, 200, 40), rng.uniform(-20, 20, 40), rng.uniform(0, 80, 40)])
    floor = zone_of(box_of((-900, -900, -200), (900, 900, -150)))
    motion = pair_motion("engine", "chassis", lifting(-2.0, 5.0, (-3.0, 7.0)))
    found = approach(points, floor, motion, None, np.full(40, 400.0), TOLERANCE)
    radius, at = np.hypot(points[:, 0], points[:, 2]), np.arctan2(points[:, 2], points[:, 0])
    turned = at[:, None] - np.radians(np.linspace(-3, 7, 4001))
    exact = (radius[:, None] * np.sin(turned)).min(axis=1) - 2.0 + 150.0
    assert np.all(found <= exact + 1e-4)  # the fine grid of angles is at most r d²/8 < 1e-4 mm too high
    assert np.all(found >= exact - TOLERANCE - ROUNDING)


def test_growth_moves_points_away_from_the_anchor():
    points = np.array([[100.0, 0, 0], [-50.0, 0, 0], [0.0, 0, 0]])
    wall = zone_of(box_of((120, -500, -500), (150, 500, 500)))
    growth = Growth(anchor=np.zeros(3), k_cold=0.99, k_hot=1.02, spread=0.0, text="")
    found = approach(points, wall, PairMotion(), growth, np.full(3, 300.0), TOLERANCE)
    exact = np.array([120 - 102.0, 120 + 50 * 0.99, 120.0])
    assert np.all(found <= exact + ROUNDING)
    assert np.all(found >= exact - TOLERANCE - ROUNDING)


def test_inside_a_closed_zone_is_negative_and_the_cap_is_kept():
    block = zone_of(box_of((-10, -10, -10), (10, 10, 10)))
    points = np.array([[0.0, 0, 7], [0, 0, 15], [0, 0, 90]])
    found = approach(points, block, PairMotion(), None, np.array([50.0, 50, 30]), TOLERANCE)
    assert found == pytest.approx([-3.0, 5.0, 30.0], abs=TOLERANCE)


def test_never_above_any_pose_of_rock_travel_and_growth_together():
    rng = np.random.default_rng(8)
    points, cloud = rng.uniform(-40, 40, (12, 3)), rng.uniform(-40, 40, (300, 3)) + np.array([110.0, 0, 0])
    rock = rock_from(
        point=np.array([5.0, 0, -90]), direction=np.array([0.1, 1, 0.2]), up=np.array([0.0, 0, 1]),
        forward=np.array([1.0, 0, 0]), roll_deg=(-4, 6), lift_mm=(-2, 3), shift_mm=(-1.5, 2.5),
    )  # fmt: skip
    travel = Travel(point=np.array([150.0, 0, 0]), direction=np.array([0.0, 0, 1]), range_rad=(-0.1, 0.15))
    motion = pair_motion("engine", ZoneMotion(rides="chassis", travel=travel), rock)
    growth = Growth(anchor=np.array([-30.0, 0, 0]), k_cold=1.0, k_hot=1.01, spread=0.0, text="")
    found = approach(points, _points_zone(cloud), motion, growth, np.full(12, 500.0), 1.5)
    least = np.full(12, np.inf)
    for _ in range(3000):
        roll, swing = rng.uniform(*rock.roll_rad), rng.uniform(*travel.range_rad)
        pose = rock.pose(roll, *rng.uniform((-2, -1.5), (3, 2.5)))
        grown = growth.anchor + rng.uniform(1.0, 1.01) * (points - growth.anchor)
        seen = travel.pose(swing).inverse().apply(pose.apply(grown))
        least = np.minimum(least, cKDTree(cloud).query(seen)[0])
    assert np.all(found <= least + ROUNDING)
    assert np.all(found >= least - 1.5 - 2.0)  # random poses miss the worst by a few tenths to 2 mm


def test_a_tolerance_of_zero_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        approach(np.zeros((1, 3)), _points_zone(np.ones((1, 3))), PairMotion(), None, np.ones(1), 0.0)
