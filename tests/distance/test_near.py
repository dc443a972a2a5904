"""Balls must cover what they stand for, and distances be the plain ones."""

from __future__ import annotations

import numpy as np
import pytest
from brute import point_triangle

from clearance.distance.near import balls_of_mesh, balls_of_points, distance_to
from clearance.scene.mesh import Mesh


@pytest.mark.parametrize("far", [0.0, 1e5])
def test_balls_cover_and_are_centred_on_the_body(far):
    rng = np.random.default_rng(3)
    points = rng.normal(size=(2000, 3)) * 20 + far
    balls = balls_of_points(points, 6.0)
    away = np.linalg.norm(points - balls.centres[balls.group], axis=1)
    assert (away <= balls.radii[balls.group]).all()
    assert balls.radii.max() <= 6.0 * np.sqrt(3)
    assert {tuple(c) for c in balls.centres} <= {tuple(p) for p in points}
    mesh = Mesh(points[:30], np.arange(30).reshape(-1, 3))
    balls = balls_of_mesh(mesh)
    assert (np.linalg.norm(mesh.triangles - balls.centres[:, None], axis=2) <= balls.radii[:, None] + 1e-9).all()
    assert point_triangle(balls.centres, mesh.triangles).max() < 1e-9


def test_distance_to_points_and_to_a_mesh():
    rng = np.random.default_rng(4)
    asked, corners = rng.normal(size=(50, 3)) * 20, rng.normal(size=(20, 3, 3)) * 10
    mesh = Mesh(corners.reshape(-1, 3), np.arange(60).reshape(-1, 3))
    assert distance_to(mesh, asked) == pytest.approx(point_triangle(asked[:, None], corners).min(axis=1), abs=1e-9)
    plain = np.linalg.norm(asked[:, None] - corners[:, 0], axis=2).min(axis=1)
    assert distance_to(corners[:, 0], asked) == pytest.approx(plain, abs=1e-12)
