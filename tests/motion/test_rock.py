"""Who moves, which way round, and in which order."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.result import MotionState
from clearance.motion.rock import rock_from


def rock(**changed):
    values = {
        "point": [100, 0, 50], "direction": [0, 2, 0], "up": [0, 0, 3], "forward": [5, 0, 0],
        "roll_deg": (-3, 4), "lift_mm": (-2, 6), "shift_mm": (-1, 2),
    }  # fmt: skip
    return rock_from(**{**values, **changed})


def test_turn_first_then_shift_right_handed():
    """A quarter turn about +y through (100, 0, 50) takes the point 10 above it to 10 ahead (+x); then it is shifted."""
    moved = rock().pose(np.pi / 2, 6.0, 2.0).apply([100.0, 7, 60])
    assert moved == pytest.approx([100 + 10 + 2, 7, 50 + 6], abs=1e-12)


@pytest.mark.parametrize("seed", range(5))
def test_pose_is_scipys_rotation_about_the_axis(seed):
    rng = np.random.default_rng(seed)
    point, direction, up, forward = rng.normal(size=(4, 3)) * 10
    made = rock(point=point, direction=direction, up=up, forward=forward)
    roll, lift, shift = rng.normal(size=3)
    x = rng.normal(size=(6, 3)) * 50
    turn = Rotation.from_rotvec(roll * direction / np.linalg.norm(direction))
    wanted = turn.apply(x - point) + point + lift * up / np.linalg.norm(up) + shift * forward / np.linalg.norm(forward)
    assert made.pose(roll, lift, shift).apply(x) == pytest.approx(wanted, abs=1e-9)
    (rotation, translation), _ = PairMotion(rock=made, turned="part").turns(np.array([roll]))
    assert x @ rotation.T + translation == pytest.approx(turn.apply(x - point) + point, abs=1e-9)


def test_riding_together_is_standing_still():
    for carrier in ("engine", "chassis"):
        motion = pair_motion(carrier, carrier, rock())
        assert motion.turned is None
        assert motion.angles == ()
        assert motion.reach_mm == 0
        assert motion.state(np.zeros(0), np.zeros(0)) == MotionState()
        assert all((pose.matrix == np.eye(4)).all() for pose in motion.poses(MotionState()))
    assert pair_motion("engine", "chassis", None).turned is None


def test_only_what_rides_the_engine_moves():
    state = MotionState(roll_rad=0.05, lift_mm=3.0, shift_mm=-1.0)
    wanted = rock().pose(0.05, 3.0, -1.0).matrix
    part, zone = pair_motion("engine", "chassis", rock()).poses(state)
    assert (part.matrix == wanted).all()
    assert (zone.matrix == np.eye(4)).all()
    part, zone = pair_motion("chassis", "engine", rock()).poses(state)
    assert (part.matrix == np.eye(4)).all()
    assert (zone.matrix == wanted).all()


@pytest.mark.parametrize("turned", ["part", "zone"])
@pytest.mark.parametrize("lift", [(-2, 6), (1, 1)])
@pytest.mark.parametrize("shift", [(-1, 2), (0, 0)])
def test_states_are_told_by_angle_and_shares(turned, lift, shift):
    motion = PairMotion(rock=rock(lift_mm=lift, shift_mm=shift), turned=turned)
    shares = np.array([0.25] * (lift[1] > lift[0]) + [0.5] * (shift[1] > shift[0]))
    state = motion.state(np.array([0.03]), shares)
    wanted = (0.03, lift[0] + 0.25 * (lift[1] - lift[0]), shift[0] + 0.5 * (shift[1] - shift[0]))
    assert (state.roll_rad, state.lift_mm, state.shift_mm) == pytest.approx(wanted)
    part, zone = motion.poses(state)
    rotation, translation = motion.zone_to_part(np.array([0.03]), shares)
    seen = part.inverse() @ zone
    assert rotation == pytest.approx(seen.rotation, abs=1e-12)
    assert translation == pytest.approx(seen.translation, abs=1e-9)


def test_radii_are_counted_from_the_axis_line():
    motion = PairMotion(rock=rock(), turned="zone")
    (roll,) = motion.hinges
    assert roll.radii_mm(np.array([[103.0, 900, 54], [100, -5, 50]])) == pytest.approx([5, 0])
    assert motion.about(np.array([90.0, 1, 40])).rock.point == pytest.approx([10, -1, 10])
