"""Links against rotations built otherwise, and covers of their states with and without room."""

from __future__ import annotations

import numpy as np
import pytest
from report_kinds import LINKED
from scipy.spatial.transform import Rotation

from clearance.job.read import read_job
from clearance.verify.links import Pointing, axes_fault, shaft_of, state_beyond


@pytest.fixture
def shaft(tmp_path):
    (tmp_path / "job.toml").write_text(LINKED)
    (tmp_path / "bar.stl").write_text("never read")
    job = read_job(tmp_path / "job.toml")
    return shaft_of(job, job.zones[0], job.links[0], np.array([5.0, -7, 11]))


def _axes(shaft):
    return np.linalg.svd(shaft.neutral[None])[2][1:]


def _states(shaft, count, seed=0):
    joint, rng = shaft.joint, np.random.default_rng(seed)
    ranges = ((joint.angle_low, joint.angle_high), (joint.slide_low, joint.slide_high))
    return (rng.uniform(low, high, (count, len(low))) for low, high in ranges)


def _turn(axis, angle, point, x):
    return Rotation.from_rotvec(angle * np.asarray(axis, float)).apply(x - point) + point


def test_the_outer_joint_is_moved_by_travel_rock_and_lift_as_the_engine_sees_it(shaft):
    origin, (angles, slides) = np.array([5.0, -7, 11]), _states(shaft, 20)
    for (roll, travel), (lift, shift) in zip(angles, slides, strict=True):
        swung = _turn([1, 0, 0], travel, np.array([80.0, -100, 0]), np.array([80.0, 250, 40]))
        seen = _turn([0, 1, 0], -roll, np.array([0.0, 0, -300]), swung - lift * np.array([0, 0, 1]))
        found = shaft.outer_seen(np.array([[roll, travel]]), np.array([[lift, shift]]))
        assert found[0] + origin == pytest.approx(seen - shift * np.array([1, 0, 0]), abs=1e-9)


def test_the_pose_is_the_least_rotation_onto_the_present_direction(shaft):
    angles, slides = _states(shaft, 50)
    to = shaft.outer_seen(angles, slides) - shaft.inner
    way = shaft.outer - shaft.inner
    points = shaft.inner + np.random.default_rng(2).normal(size=(50, 4, 3)) * 100
    found = shaft.seen(points, angles, slides)
    for k in range(50):
        normal = np.cross(way, to[k])
        angle = np.arccos(np.dot(way, to[k]) / np.linalg.norm(way) / np.linalg.norm(to[k]))
        turn = Rotation.from_rotvec(angle * normal / np.linalg.norm(normal))
        assert found[k] == pytest.approx(turn.apply(points[k] - shaft.inner) + shaft.inner, abs=1e-6)


def test_the_cells_coordinates_place_it_the_same(shaft):
    axes, (angles, slides) = _axes(shaft), _states(shaft, 50)
    at, _, _ = shaft.pointing(axes, angles, slides)
    points = shaft.inner + np.random.default_rng(3).normal(size=(50, 2, 3)) * 100
    by_cells = Pointing(shaft.inner, axes, at.min(axis=0), at.max(axis=0)).seen(points, at, np.zeros((50, 0)))
    assert by_cells == pytest.approx(shaft.seen(points, angles, slides), abs=1e-8)


def test_pointing_moves_nothing_farther_than_promised():
    rng = np.random.default_rng(4)
    pointing = Pointing(np.array([3.0, 4, 5]), np.eye(3)[:2], -np.ones(2), np.ones(2))
    corners, middle, half = rng.normal(size=(1, 3, 3)) * 60, rng.uniform(-1, 1, (1, 2)), np.array([[0.2, 0.1]])
    most = pointing.falls(corners, middle, half, np.zeros((1, 0)), np.zeros((1, 0))).sum()
    tries = middle + half * rng.uniform(-1, 1, (4000, 2))
    none = np.zeros((4000, 0))
    moved = pointing.seen(np.repeat(corners, 4000, axis=0), tries, none) - pointing.seen(corners, middle, none[:1])
    farthest = np.linalg.norm(moved, axis=2).max()
    assert 0.3 * most < farthest <= most


def test_a_rectangle_with_room_holds_every_state_and_one_without_does_not(shaft):
    axes, (angles, slides) = _axes(shaft), _states(shaft, 20_000)
    at, _, _ = shaft.pointing(axes, angles, slides)
    low, high = at.min(axis=0), at.max(axis=0)
    room = 0.1 * (high - low)
    assert state_beyond(shaft, axes, low - room, high + room) is None
    for side in range(2):
        cut = np.array(high + room)
        cut[side] = high[side] - 0.02 * (high - low)[side]
        assert "beyond" in state_beyond(shaft, axes, low - room, cut)


def test_axes_must_be_square_to_the_shaft(shaft):
    axes = _axes(shaft)
    assert axes_fault(shaft, axes) is None
    assert axes_fault(shaft, axes * [[1.0], [1 + 1e-6]]) is not None
    assert axes_fault(shaft, np.stack([axes[0], shaft.neutral])) is not None
