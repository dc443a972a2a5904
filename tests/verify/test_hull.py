"""Bounds on the distance of hulls against brute force over triangle pairs, and against closed forms."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from brute import triangle_triangle

from clearance.verify.hull import hull_distance

SAME_MM = 1e-6


def _differences(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return (a[:, :, None] - b[:, None]).reshape(len(a), 9, 3)


@pytest.mark.parametrize("thin", [1.0, 1e-3, 0.0])
def test_triangles_are_told_apart_to_a_nanometre(thin):
    rng = np.random.default_rng(4)
    a, b = rng.normal(size=(2, 4000, 3, 3)) * [1, 1, thin] * 20
    b = b + rng.normal(size=(4000, 1, 3)) * 40
    truth = triangle_triangle(a, b)
    far = truth > 1e-3
    hulls = _differences(a, b)[far]
    lower, _ = hull_distance(hulls, truth[far] - SAME_MM)
    assert (lower >= truth[far] - SAME_MM).all()
    lower, upper = hull_distance(hulls, truth[far] + SAME_MM)
    assert (upper < truth[far] + SAME_MM).all()
    assert (lower <= truth[far] + 1e-9).all()


def test_hulls_round_the_origin_are_never_proved_away():
    rng = np.random.default_rng(5)
    points = rng.normal(size=(500, 12, 3))
    points -= points.mean(axis=1, keepdims=True)
    lower, _ = hull_distance(points, np.full(500, 1e-3))
    assert (lower < 1e-9).all()


def test_a_cube_of_points_beside_the_origin():
    cube = np.array(list(product((3.0, 5.0), (-1.0, 1.0), (-1.0, 1.0))))[None]
    lower, upper = hull_distance(cube, np.array([3.0 - 1e-9]))
    assert lower[0] == pytest.approx(3, abs=1e-9)
    assert upper[0] >= 3 - 1e-12
