"""Length over which errors go together, against fields whose correlation is known."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.registration.residual_length import residual_length


def _plate(seed: int) -> tuple[np.random.Generator, np.ndarray]:
    rng = np.random.default_rng(seed)
    return rng, np.column_stack([rng.uniform(0, 400, (8000, 2)), np.zeros(8000)])


def _field(rng: np.random.Generator, points: np.ndarray, length: float) -> np.ndarray:
    waves, phases = rng.normal(0, 1 / length, (500, 3)), rng.uniform(0, 2 * np.pi, 500)
    return np.sqrt(2 / 500) * np.cos(points @ waves.T + phases).sum(axis=1)


def test_white_errors_do_not_go_together():
    rng, points = _plate(0)
    assert residual_length(points, rng.normal(size=8000), 1.0) < 0.5


@pytest.mark.parametrize("length", [8.0, 15.0])
def test_integral_of_a_gaussian_correlation(length):
    # The integral of exp(-d^2 / 2 L^2) from 0 on is sqrt(pi / 2) L. One field has some 100 patches only.
    found = [residual_length(points, _field(rng, points, length), 1.0) for rng, points in map(_plate, range(6))]
    assert np.mean(found) == pytest.approx(np.sqrt(np.pi / 2) * length, rel=0.15)


def test_scale():
    rng, points = _plate(1)
    field = _field(rng, points, 10.0)
    assert residual_length(1000 * points, field, 1000.0) == pytest.approx(residual_length(points, field, 1.0))


def test_no_residuals_at_all():
    assert residual_length(_plate(0)[1], np.zeros(8000), 1.0) == 0.0
