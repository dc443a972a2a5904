"""The promise that carries every cell: how far a point goes from one move to another."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from clearance.moves.space import MoveSpace


def _space(**changed) -> MoveSpace:
    values = {
        "low": np.full(6, -1.0), "high": np.full(6, 1.0), "step_mm": 0.3, "step_rad": 0.1, "about": np.zeros(3),
        "mm_per_rad": 300.0,
    }  # fmt: skip
    return MoveSpace(**{**values, **changed})


def test_no_point_goes_farther_than_the_difference_of_shifts_and_of_rotation_vectors_by_its_arm():
    rng = np.random.default_rng(3)
    space = _space(about=np.array([10.0, -20, 30]))
    for _ in range(500):
        a, b = rng.normal(size=(2, 6)) * [5, 5, 5, 1, 1, 1] * 10 ** rng.uniform(-3, 0)
        points = rng.normal(size=(20, 3)) * 100
        gone = np.linalg.norm(space.motion(a).apply(points) - space.motion(b).apply(points), axis=1)
        arm = np.linalg.norm(points - space.about, axis=1)
        bound = np.linalg.norm(a[:3] - b[:3]) + np.linalg.norm(a[3:] - b[3:]) * arm
        assert (gone <= bound + 1e-9).all()


def test_a_move_turns_about_its_centre_and_then_shifts():
    space = _space(about=np.array([1.0, 2, 3]))
    move = np.array([4.0, 5, 6, 0.1, 0.2, 0.3])
    np.testing.assert_allclose(space.motion(move).apply(space.about), [5, 7, 9], atol=1e-12)
    np.testing.assert_allclose(space.motion(move).rotation, Rotation.from_rotvec([0.1, 0.2, 0.3]).as_matrix())


def test_the_grid_is_at_least_as_fine_as_asked_and_a_fixed_side_has_one_cell():
    space = _space(low=np.array([-1.0, 0, 0, 0, 0, 0]), high=np.array([1.0, 2, 0, 0, 0, 0.5]))
    assert space.counts.tolist() == [8, 8, 1, 1, 1, 8]
    assert space.poses == 512
    assert (2.0 / space.counts[0]) <= space.step_mm
    np.testing.assert_allclose(space.edge(space.counts), space.high)
