"""Landmark registration against published examples, closed forms and Monte Carlo."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation
from scipy.stats import norm

from clearance.errors import InputError
from clearance.job.schema import Landmark
from clearance.registration.landmarks import from_landmarks, kabsch, landmark_covariance

JOB = Path("job.toml")


def _pairs(part, bay) -> tuple[Landmark, ...]:
    return tuple(
        Landmark(name=f"stud {i + 1}", part=tuple(map(float, p)), bay=tuple(map(float, b)))
        for i, (p, b) in enumerate(zip(part, bay, strict=True))
    )


UMEYAMA_X = np.array([[0, 0, 0], [1, 0, 0], [0, 2, 0]], float)
UMEYAMA_Y = np.array([[0, 0, 0], [-1, 0, 0], [0, 2, 0]], float)


def _held_upright(points) -> np.ndarray:
    """Add two points far above and below the centroid: the fit in space is then the one in the plane."""
    far = np.array([[0.0, 0, 100], [0, 0, -100]])
    return np.vstack([points, points.mean(axis=0) + far])


def test_umeyama_1991_example():
    # Umeyama 1991, IEEE PAMI 13(4):376-380, doi 10.1109/34.88573: R of its example (recalled). At scale 1 the
    # shift is mean(y) - R mean(x) and the mean square error 0.619755, worked by hand.
    pose = kabsch(_held_upright(UMEYAMA_X), _held_upright(UMEYAMA_Y))
    expected = [[0.832050, 0.554700, 0], [-0.554700, 0.832050, 0], [0, 0, 1]]
    np.testing.assert_allclose(pose.rotation, expected, atol=1e-6)
    np.testing.assert_allclose(pose.translation, [-0.980484, 0.296867, 0], atol=1e-6)
    squares = ((pose.apply(UMEYAMA_X) - UMEYAMA_Y) ** 2).sum(axis=1)
    assert squares.mean() == pytest.approx(0.619755, abs=1e-6)


def test_that_example_is_a_trap_for_a_fit_without_the_sign():
    # Arun 1987, doi 10.1109/TPAMI.1987.4767965, without the correction: fits it with no residual, but mirrored.
    x, y = (p - p.mean(axis=0) for p in (_held_upright(UMEYAMA_X), _held_upright(UMEYAMA_Y)))
    left, _, right = np.linalg.svd(y.T @ x)
    assert np.linalg.det(left @ right) == pytest.approx(-1)
    np.testing.assert_allclose(x @ (left @ right).T, y, atol=1e-9)


@given(st.integers(0, 10_000))
@settings(max_examples=50)
def test_a_mirrored_set_is_never_mirrored_back(seed: int):
    points = np.random.default_rng(seed).uniform(-100, 100, (6, 3))
    assert np.linalg.det(kabsch(points, points * (-1, 1, 1)).rotation) == pytest.approx(1)


def test_a_mirrored_axis_is_named():
    points = np.random.default_rng(3).uniform(-100, 100, (6, 3))
    placed = from_landmarks(_pairs(points, points * (1, 1, -1)), points, 0.0, JOB)
    assert not placed.converged
    assert "mirror image" in placed.notes[-1]


def test_swapped_landmarks_are_named():
    points = np.array([[0, 0, 0], [200, 0, 0], [180, 90, 0], [0, 60, 30], [100, 40, 60]], float)
    placed = from_landmarks(_pairs(points, points[[0, 3, 2, 1, 4]]), points, 0.1, JOB)
    assert not placed.converged
    assert "'stud 2' and 'stud 4' look swapped" in placed.notes[-1]


def test_landmarks_that_stand_close_for_the_part():
    points = np.array([[0, 0, 0], [30, 0, 0], [0, 30, 0]], float)
    far = np.array([[0.0, 0, 0], [400, 0, 0]])
    assert "spread them wider" in from_landmarks(_pairs(points, points), far, 0.1, JOB).notes[0]
    near = np.array([[0.0, 0, 0], [30, 0, 0]])
    assert "spread them wider" not in from_landmarks(_pairs(points, points), near, 0.1, JOB).notes[0]


def test_landmarks_nearly_in_a_line_are_noted():
    points = np.array([[0, 0, 0], [400, 0, 0], [200, 20, 0]], float)
    assert any("nearly in a line" in note for note in from_landmarks(_pairs(points, points), points, 0.1, JOB).notes)


def test_published_recovery():
    # Point set of a stored open-source test: rotation by 30 degrees about z, shift (-1, -1, -1).
    a = np.array([[1, 1, 1], [3, 4, 5], [10, 8, 6], [2, 4, 7], [7, 1, 2], [-14, -5, 16]], float)
    turn = Rotation.from_euler("z", 30, degrees=True).as_matrix()
    pose = kabsch(a, a @ turn.T - 1)
    np.testing.assert_allclose(pose.rotation, turn, atol=1e-12)
    np.testing.assert_allclose(pose.translation, -1, atol=1e-12)


@given(st.integers(0, 10_000), st.integers(3, 8))
@settings(max_examples=50)
def test_any_rigid_pose_is_recovered(seed: int, count: int):
    rng = np.random.default_rng(seed)
    part = rng.uniform(-300, 300, (count, 3))
    part[1] = part[0] + (100, 0, 0)
    part[2] = part[0] + (0, 80, 0)
    turn, shift = Rotation.random(random_state=seed).as_matrix(), rng.uniform(-1000, 1000, 3)
    placed = from_landmarks(_pairs(part, part @ turn.T + shift), part, 0.1, JOB)
    np.testing.assert_allclose(placed.T_bay_part.rotation, turn, atol=1e-9)
    np.testing.assert_allclose(placed.T_bay_part.translation, shift, atol=1e-6)
    assert placed.converged


def test_same_as_scipy_align_vectors():
    rng = np.random.default_rng(1)
    part, noise = rng.uniform(-200, 200, (5, 3)), rng.normal(0, 1, (5, 3))
    bay = part @ Rotation.random(random_state=2).as_matrix().T + 50 + noise
    expected, _ = Rotation.align_vectors(bay - bay.mean(axis=0), part - part.mean(axis=0))
    np.testing.assert_allclose(kabsch(part, bay).rotation, expected.as_matrix(), atol=1e-9)


def test_covariance_against_monte_carlo():
    """Scatter of the pose of picks that are off by 0.5 mm: each of the six parts, and how they go together."""
    rng = np.random.default_rng(5)
    part = np.array([[0, 0, 0], [200, 0, 0], [200, 90, 0], [0, 90, 30]], float)
    centre = part.mean(axis=0)
    motions = []
    for _ in range(2000):
        pose = kabsch(part, part + rng.normal(0, 0.5, part.shape))
        turn = Rotation.from_matrix(pose.rotation).as_rotvec()
        motions.append(np.concatenate([turn, pose.apply(centre) - centre]))
    scatter, stated = np.cov(np.array(motions).T), landmark_covariance(part - centre, 0.5)
    ratio = np.sqrt(np.diag(scatter) / np.diag(stated))
    # A standard deviation from 2000 draws scatters by 1.6 %.
    assert (np.abs(ratio - 1) < 0.07).all()
    # Whitened by what is stated, the scatter is the identity: its eigenvalues scatter by about 2 sqrt(6 / 2000).
    root = np.linalg.inv(np.linalg.cholesky(stated))
    np.testing.assert_allclose(np.linalg.eigvalsh(root @ scatter @ root.T), 1, atol=0.2)


@pytest.mark.parametrize("count", [3, 4, 8])
def test_residuals_against_the_error_of_a_pick(count):
    # E[FRE^2] = (1 - 2 / N) FLE^2 (Sibson 1979; Fitzpatrick, West and Maurer 1998): FLE^2 = 3 sigma^2.
    rng = np.random.default_rng(7)
    part = rng.uniform(-200, 200, (count, 3))
    squares = []
    for _ in range(1500):
        bay = part + rng.normal(0, 0.5, part.shape)
        squares.append(((kabsch(part, bay).apply(part) - bay) ** 2).sum(axis=1).mean())
    # Relative scatter of the mean for 3 degrees of freedom: sqrt(2 / 3 / 1500) = 2 %.
    assert np.mean(squares) == pytest.approx((1 - 2 / count) * 0.75, rel=0.08)


@pytest.mark.parametrize("confidence", [0.95, 0.99])
def test_few_landmarks_are_trusted_less(confidence):
    """The guard of a decision holds as often as it claims, though three picks tell little."""
    rng = np.random.default_rng(6)
    part = np.array([[0, 0, 0], [200, 0, 0], [0, 120, 0]], float)
    target, way, draws = np.array([[250.0, -80, 60]]), np.array([0.0, 0, 1]), 1000
    short = 0
    for _ in range(draws):
        placed = from_landmarks(_pairs(part, part + rng.normal(0, 1.0, part.shape)), part, 0.0, JOB)
        error = (placed.T_bay_part.apply(target)[0] - target[0]) @ way
        short += error > norm.ppf(confidence) * placed.sigma_mm(target[0], way)
    expected = (1 - confidence) * draws
    assert short <= expected + 3 * np.sqrt(expected)


def test_collinear_landmarks_are_refused():
    line = np.array([[0, 0, 0], [100, 0.2, 0], [220, 0, 0.1], [400, 0, 0]])
    with pytest.raises(InputError, match=r"register\.pair: the 4 .* a line in part, to within 0\.\d+ mm.*off that"):
        from_landmarks(_pairs(line, line + 5), line, 0.1, JOB)


def test_one_point_named_twice_is_refused():
    points = np.array([[0, 0, 0], [100, 0, 0], [100, 0, 0], [0, 50, 0]])
    with pytest.raises(InputError, match="'stud 2' and 'stud 3' are 0 mm apart in part"):
        from_landmarks(_pairs(points, points), points, 0.1, JOB)


def test_inches_on_one_side_are_refused():
    points = np.array([[0, 0, 0], [100, 0, 0], [0, 50, 0], [30, 40, 60]], float)
    with pytest.raises(InputError, match=r"25\.4 times as far apart"):
        from_landmarks(_pairs(points, points * 25.4), points, 0.1, JOB)


def test_a_wrong_pick_is_named():
    points = np.array([[0, 0, 0], [200, 0, 0], [200, 90, 0], [0, 90, 30], [100, 40, 60]], float)
    bay = points.copy()
    bay[2] += (0, 9, 0)
    placed = from_landmarks(_pairs(points, bay), points, 0.1, JOB)
    assert not placed.converged
    assert "'stud 3'" in placed.notes[-1]


def test_a_rectangle_of_studs_is_told_to_fit_the_other_way_round():
    studs = np.array([[0, 0, 0], [300, 0, 0], [300, 60, 0], [0, 60, 0]], float)
    notes = " ".join(from_landmarks(_pairs(studs, studs + 10), studs, 0.1, JOB).notes)
    assert "fit as well with" in notes
    odd = np.array([[0, 0, 0], [300, 0, 0], [320, 60, 0], [0, 90, 20]], float)
    assert "fit as well" not in " ".join(from_landmarks(_pairs(odd, odd + 10), odd, 0.1, JOB).notes)
