"""Expected target error against published values and the covariance of the same fit."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.registration.landmarks import kabsch, landmark_covariance
from clearance.registration.target_error import target_error

SQUARE = [[1, 1, 0], [1, -1, 0], [-1, 1, 0], [-1, -1, 0]]
RHOMB = [[1, 1, 0], [-0.5, 0.5, 0], [-1, -1, 0], [0.5, -0.5, 0]]


# Fitzpatrick, West and Maurer 1998, doi 10.1109/42.736021, eq. 46: 0.75, 0.25 and 1.35 as in an open test of a
# medical library; the last row is the formula worked by hand for a square of the size of a bay.
@pytest.mark.parametrize(
    ("landmarks", "fle", "target", "squared"),
    [
        (SQUARE, 1.0, [2, 0, 0], 0.75),
        (RHOMB, 1.0, [0, 0, 0], 0.25),
        (RHOMB, 1.0, [2, 0, 0], 1.35),
        (200 * np.array(SQUARE), 0.5, [0, 0, 0], 0.25**2),
        (200 * np.array(SQUARE), 0.5, [600, 0, 0], 0.34375),
    ],
)
def test_published_values(landmarks, fle, target, squared):
    found = target_error(np.array(landmarks, float), np.array([target], float), fle)
    assert found[0] ** 2 == pytest.approx(squared, rel=1e-9)


# The same formula in another hand, for picks off by 0.5 mm per axis, confirmed there by 20 000 random fits
# each: 1.3163 for the three, 0.9498 for the four.
@pytest.mark.parametrize(
    ("landmarks", "target", "rms"),
    [
        ([[0, 0, 0], [200, 0, 0], [0, 200, 0]], [300, -100, 150], 1.3189),
        ([[0, 0, 0], [200, 0, 0], [0, 200, 0]], [200 / 3, 200 / 3, 0], 0.5),
        ([[0, 0, 0], [400, 0, 0], [200, 150, 0], [100, 40, 80]], [300, -100, 150], 0.9440),
    ],
)
def test_values_of_an_independent_trial(landmarks, target, rms):
    found = target_error(np.array(landmarks, float), np.array([target], float), np.sqrt(0.75))
    assert found[0] == pytest.approx(rms, abs=5e-5)


def test_trace_of_the_covariance_at_a_target():
    rng = np.random.default_rng(4)
    landmarks, target = rng.uniform(-150, 150, (5, 3)), rng.uniform(-400, 400, 3)
    centre = landmarks.mean(axis=0)
    covariance = landmark_covariance(landmarks - centre, 0.3)
    q = target - centre
    cross = np.array([[0, -q[2], q[1]], [q[2], 0, -q[0]], [-q[1], q[0], 0]])
    jacobian = np.hstack([-cross, np.eye(3)])
    rms = np.sqrt(np.trace(jacobian @ covariance @ jacobian.T))
    assert rms == pytest.approx(target_error(landmarks, target[None], np.sqrt(3) * 0.3)[0], rel=1e-9)


def test_scatter_of_a_thousand_fits():
    rng = np.random.default_rng(5)
    part = np.array([[0, 0, 0], [200, 0, 0], [200, 90, 0], [0, 90, 30]], float)
    target = np.array([[300, -100, 150]], float)
    moved = np.array([kabsch(part, part + rng.normal(0, 0.5, part.shape)).apply(target)[0] for _ in range(2000)])
    scatter = np.sqrt(((moved - target) ** 2).sum(axis=1).mean())
    # The scatter of an rms of 2000 draws is below 2 %.
    assert scatter == pytest.approx(target_error(part, target, np.sqrt(3) * 0.5)[0], rel=0.05)


@pytest.mark.parametrize("line", [[[0, 0, 0], [1, 1, 1]], [[0, 0, 0], [1, 1, 1], [2, 2, 2]]])
def test_a_line_promises_nothing(line):
    with pytest.raises(ValueError, match="in a line"):
        target_error(np.array(line, float), np.zeros((1, 3)), 1.0)
