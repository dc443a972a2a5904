"""A shaft between engine and chassis: where it points, and its clearance against brute force over real states."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
import trimesh
from brute import distance, over_poses, signed
from scenes import SAME_MM, soup
from scipy.spatial.transform import Rotation

from clearance.motion.field import fields, may_be_lower
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.result import MotionState
from clearance.motion.rock import Rock, rock_from
from clearance.motion.sweep import sweep
from clearance.motion.zone_motion import Link, Travel, ZoneMotion
from clearance.scene.mesh import Mesh

INNER, OUTER = np.array([0.0, 40, -60]), np.array([20.0, 440, -90])
RADIUS = 12.0


def rock(**changed) -> Rock:
    values = {
        "point": [-60, 0, 30], "direction": [0.1, 1, 0], "up": [0, 0, 1], "forward": [1, 0, 0],
        "roll_deg": (-3, 4), "lift_mm": (-1, 2), "shift_mm": (-1, 1),
    }  # fmt: skip
    return rock_from(**{**values, **changed})


def travel(low_deg=-6.0, high_deg=8.0) -> Travel:
    """Swing of the hub about a fore-and-aft line well inboard."""
    low, high = np.radians([low_deg, high_deg])
    return Travel(point=np.array([0.0, 60, -80]), direction=np.array([1.0, 0, 0]), range_rad=(low, high))


def shaft(sections: int = 24) -> Mesh:
    along = OUTER - INNER
    tube = trimesh.creation.cylinder(radius=RADIUS, segment=[INNER + 0.05 * along, OUTER], sections=sections)
    return Mesh(np.asarray(tube.vertices, float), np.asarray(tube.faces, np.int64))


def ball(middle, radius=15.0) -> Mesh:
    shape = trimesh.creation.icosphere(subdivisions=1, radius=radius)
    return Mesh(np.asarray(shape.vertices, float) + middle, np.asarray(shape.faces, np.int64))


def brute_shaft(zone, values: np.ndarray, a_rock: Rock | None, swing: Travel | None) -> np.ndarray:
    """Triangles (n, m, 3, 3) of the shaft in the engine's frame at (n, 4) roll, lift, shift, travel.

    The least rotation from one direction to another, as two mirrorings: first across the plane at right
    angles to the neutral direction, then across that which halves the way to the other. Not by an exponential.
    """
    posed, neutral = [], (OUTER - INNER) / np.linalg.norm(OUTER - INNER)
    for roll, lift, shift, angle in values:
        at = OUTER
        if swing is not None:
            at = Rotation.from_rotvec(angle * swing.direction).apply(at - swing.point) + swing.point
        if a_rock is not None:
            at = at - lift * a_rock.up - shift * a_rock.forward - a_rock.point
            at = Rotation.from_rotvec(-roll * a_rock.direction).apply(at) + a_rock.point
        to = (at - INNER) / np.linalg.norm(at - INNER)
        half = (neutral + to) / np.linalg.norm(neutral + to)
        turn = (np.eye(3) - 2 * np.outer(half, half)) @ (np.eye(3) - 2 * np.outer(neutral, neutral))
        posed.append((soup(zone) - INNER) @ turn.T + INNER)
    return np.array(posed)


def as_values(state: MotionState) -> np.ndarray:
    told = (state.roll_rad, state.lift_mm, state.shift_mm, state.travel_rad)
    return np.array([0.0 if v is None else v for v in told])


def box_of(motion: PairMotion) -> tuple[np.ndarray, np.ndarray]:
    ranges = [motion.rock.roll_rad, motion.rock.lift_mm, motion.rock.shift_mm] if motion.rock else [(0.0, 0.0)] * 3
    ranges.append(motion.travel.range_rad if motion.travel else (0.0, 0.0))
    return tuple(np.array(ranges).T)


def linked(a_rock: Rock | None, swing: Travel | None) -> PairMotion:
    link = Link(engine=INNER, chassis=OUTER)
    return pair_motion("engine", ZoneMotion(rides="left shaft", link=link, travel=swing), a_rock)


def test_nothing_moves_the_ends_and_the_clearance_is_that_at_rest():
    part = ball([40.0, 200, -70])
    found = sweep(part, True, shaft(), True, linked(None, None), 0.02)
    true = distance(soup(part), soup(shaft()))
    assert found.clearance.lower - 1e-12 <= true <= found.clearance.upper + 1e-12
    assert found.clearance.width <= 0.02
    assert found.worst == MotionState()


def test_both_ends_moved_equally_leave_the_clearance_as_at_rest():
    """The hub swings about the rock axis by the roll itself: at such states the shaft stands still on the engine."""
    a_rock = rock(lift_mm=(0, 0), shift_mm=(0, 0))
    swing = Travel(point=a_rock.point, direction=a_rock.direction, range_rad=a_rock.roll_rad)
    motion, part = linked(a_rock, swing), ball([40.0, 200, -70])
    for roll in np.linspace(*a_rock.roll_rad, 7):
        part_pose, zone_pose = motion.poses(MotionState(roll_rad=roll, lift_mm=0.0, shift_mm=0.0, travel_rad=roll))
        seen = part_pose.inverse() @ zone_pose
        assert seen.matrix == pytest.approx(np.eye(4), abs=1e-9)
    assert sweep(part, True, shaft(), True, motion, 0.02).clearance.lower <= distance(soup(part), soup(shaft()))


@pytest.mark.parametrize("swing", [None, travel()])
@pytest.mark.parametrize("a_rock", [None, rock(), rock(roll_deg=(-20, 25)), rock(lift_mm=(-40, 60))])
def test_every_direction_is_in_the_rectangle(swing, a_rock):
    motion = linked(a_rock, swing)
    low, high = box_of(motion)
    rng = np.random.default_rng(3)
    values = low + np.vstack([list(product((0, 1), repeat=4)), rng.random((20_000, 4))]) * (high - low)
    coordinates = motion.shaft.coordinates(values)
    assert (coordinates >= motion.low).all()
    assert (coordinates <= motion.high).all()
    wide = motion.high - motion.low
    assert (wide <= 1.4 * np.ptp(coordinates, axis=0) + 0.02 * wide.max() + 1e-9).all()  # and it is not idle
    neutral = (OUTER - INNER) / np.linalg.norm(OUTER - INNER)
    for at in values[::4000]:
        seen = motion.shaft.outer_seen(at[None])[0] - INNER
        turned = motion.shaft.rotation(motion.shaft.coordinates(at[None])[0]) @ neutral
        assert turned == pytest.approx(seen / np.linalg.norm(seen), abs=1e-12)


def test_a_hub_that_comes_past_the_inner_joint_may_point_anywhere():
    """Where rock can bring the outer joint onto the inner one, no direction is left out."""
    motion = linked(rock(forward=OUTER - INNER, shift_mm=(-900, 900)), None)
    assert motion.low == pytest.approx([-np.pi, -np.pi])
    assert motion.high == pytest.approx([np.pi, np.pi])


@pytest.mark.parametrize("seed", range(8))
def test_bound_against_brute_force_over_real_states(seed):
    rng = np.random.default_rng(seed)
    share = rng.uniform(0.15, 0.8)
    aside = np.cross(OUTER - INNER, rng.normal(size=3))
    part = ball(INNER + share * (OUTER - INNER) + aside / np.linalg.norm(aside) * rng.uniform(80, 105))
    zone = shaft(8)
    a_rock, swing = (rock() if seed % 4 else None), (travel() if seed % 3 else None)
    motion = linked(a_rock, swing)
    found = sweep(part, True, zone, True, motion, 0.02)
    low, high = box_of(motion)
    near = as_values(found.worst) + rng.normal(size=(100, 4)) * 0.05 * (high - low)
    values = np.vstack([low + np.array(list(product((0, 0.5, 1), repeat=4))) * (high - low), np.clip(near, low, high)])
    still = np.broadcast_to(soup(part), (1, *soup(part).shape))
    seen = np.array([over_poses(still, brute_shaft(zone, v[None], a_rock, swing))[0] for v in values])
    assert seen.min() > 0
    assert found.clearance.lower <= seen.min() + 1e-9
    assert found.clearance.upper <= seen.min() + 0.05  # the descent finds the least of real states, or nearly
    worst = as_values(found.worst)
    assert ((worst >= low - 1e-12) & (worst <= high + 1e-12)).all()
    there = distance(soup(part), brute_shaft(zone, worst[None], a_rock, swing)[0])
    assert there == pytest.approx(found.clearance.upper, abs=SAME_MM)
    part_pose, zone_pose = motion.poses(found.worst)
    between = part_pose.apply(found.on_part) - zone_pose.apply(found.on_zone)
    assert np.linalg.norm(between) == pytest.approx(found.clearance.upper, abs=SAME_MM)
    assert found.angles == ("link_a", "link_b")
    area = np.prod(found.cells[:, 2:4] - found.cells[:, :2], axis=1).sum()
    assert area == pytest.approx(np.prod(motion.high - motion.low), rel=1e-9)


def test_a_part_in_the_way_of_the_shaft_interferes():
    """The ball's middle is 15 above the shaft's axis half way along: at rest it is in by 12; travel brings more."""
    part = ball((INNER + OUTER) / 2 + [0, 0, 15.0])
    found = sweep(part, True, shaft(), True, linked(rock(), travel()), 0.02)
    assert found.clearance.upper < 0
    rest = sweep(part, True, shaft(), True, linked(None, None), 0.02)
    assert found.clearance.lower <= rest.clearance.upper
    at = brute_shaft(shaft(), as_values(found.worst)[None], rock(), travel())[0]
    deepest = min(signed(at, part.vertices).min(), signed(soup(part), at.reshape(-1, 3)).min())
    assert found.clearance.lower <= deepest


@pytest.mark.parametrize("a_rock", [None, rock()])
def test_fields_hold_the_minimum_of_each_point(a_rock):
    motion, part = linked(a_rock, travel()), ball([30.0, 200, -20])
    points = shaft(8).vertices
    _, on_zone = fields(part, points, False, motion, 500.0)
    low, high = box_of(motion)
    values = np.random.default_rng(0).uniform(low, high, (60, 4))
    lower = may_be_lower(motion, points)
    soups = brute_shaft(points, values, a_rock, travel())
    for i in range(0, len(points), 3):
        least = over_poses(np.broadcast_to(soup(part), (60, *soup(part).shape)), soups[:, i : i + 1]).min()
        assert least >= on_zone.values_mm[i] - lower[i] - 1e-9


def test_a_link_needs_a_part_on_the_engine():
    with pytest.raises(ValueError, match="link"):
        pair_motion("chassis", ZoneMotion(rides="shaft", link=Link(engine=INNER, chassis=OUTER)), rock())
