"""Sampled view factors against integrated and closed ones; what hides behind something is not seen."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearance.heat.sight import RAYS, TRIALS, Sight, sampling_bound, sampling_words
from clearance.heat.view_factor import point_to_triangles
from clearance.scene.mesh import Mesh

AWAY = np.array([3e6, -2e6, 1e6])
BALL = trimesh.creation.icosphere(4, 1.0)


def _mesh(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.array(shape.vertices), np.array(shape.faces, dtype=np.int64))


def _ones(mesh: Mesh) -> np.ndarray:
    return np.ones((len(mesh.faces), 1))


@pytest.mark.parametrize("rays", [64, 256, 1024])
def test_it_keeps_its_bound_on_triangles_of_all_sizes(rays):
    rng = np.random.default_rng(7)
    worst = 0.0
    for size, away in zip(rng.choice([0.2, 1.0, 5.0, 30.0], 60), rng.choice([0.3, 1.0, 3.0], 60), strict=True):
        corners = rng.normal(size=(1, 3, 3)) * size + [0, 0, away]
        points, normals = rng.normal(size=(60, 3)) * 0.3, rng.normal(size=(60, 3)) + np.array([0, 0, 1])
        normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        mesh = Mesh(corners[0], np.array([[0, 1, 2]]))
        found = Sight(mesh).gathered(points, normals, _ones(mesh), rays)[:, 0]
        exact = [point_to_triangles(p, n, corners)[0] for p, n in zip(points, normals, strict=True)]
        worst = max(worst, float(np.abs(found - exact).max()))
    assert worst <= sampling_bound(rays)
    assert worst >= sampling_bound(rays) / 5  # a bound that says something


def test_none_of_the_stated_number_of_independent_views_is_beyond_the_bound():
    """Each with a triangle, a place and a frame of its own, against Lambert's closed form: the rule of three holds."""
    rng = np.random.default_rng(11)
    face, beyond, off = np.array([[0, 1, 2]]), 0, []
    for _ in range(TRIALS):
        corners = rng.normal(size=(3, 3)) * rng.choice([0.2, 1.0, 5.0, 30.0]) + [0, 0, rng.choice([0.3, 1.0, 3.0])]
        point, normal = rng.normal(size=(1, 3)) * 0.3, rng.normal(size=(1, 3)) + np.array([0, 0, 1])
        normal /= np.linalg.norm(normal)
        found = Sight(Mesh(corners, face)).gathered(point, normal, np.ones((1, 1)))[0, 0]
        off.append(abs(found - point_to_triangles(point[0], normal[0], corners[None])[0]))
        beyond += off[-1] > sampling_bound(RAYS)
    assert beyond == 0
    assert np.sqrt(np.mean(np.square(off))) < sampling_bound(RAYS) / 4  # as the docstring says of the mean
    assert f"{TRIALS} views" in sampling_words(RAYS)


@pytest.mark.parametrize("away", [1.05, 1.5, 3.0, 6.0])
def test_a_ball_in_front_fills_one_over_distance_squared(away):
    ball = _mesh(BALL)
    points, normals = np.tile([0.0, 0.0, -away], (50, 1)), np.tile([0.0, 0.0, 1.0], (50, 1))
    found = Sight(ball).gathered(points, normals, _ones(ball), 1024)[:, 0]
    assert np.abs(found - 1 / away**2).max() <= sampling_bound(1024) + 0.002  # the ball has facets


def test_what_is_hidden_is_not_seen():
    """A wall before a ball: of the two only the wall's triangles have weight none, and nothing of the ball is left."""
    wall = trimesh.creation.box(extents=(20, 20, 0.1))
    wall.apply_translation([0, 0, -2])
    both = trimesh.util.concatenate([BALL, wall])
    mesh = _mesh(both)
    of_ball = (np.arange(len(mesh.faces)) < len(BALL.faces)).astype(float)[:, None]
    point, normal = np.array([[0.0, 0.0, -4.0]]), np.array([[0.0, 0.0, 1.0]])
    assert Sight(mesh).gathered(point, normal, of_ball)[0, 0] == 0.0
    assert Sight(_mesh(BALL)).gathered(point, normal, _ones(_mesh(BALL)))[0, 0] > 0.04
    assert Sight(mesh).met(point, normal)[: len(BALL.faces)].sum() == 0


def test_a_surface_that_looks_away_sees_nothing():
    ball = _mesh(BALL)
    assert Sight(ball).gathered(np.array([[0.0, 0, -3]]), np.array([[0.0, 0, -1]]), _ones(ball))[0, 0] == 0.0


def test_far_from_the_origin_nothing_changes():
    """Single precision is about the body's own middle."""
    ball = _mesh(BALL)
    far = Mesh(ball.vertices + AWAY, ball.faces)
    points, normals = np.array([[0.0, 0.0, -2.0]]), np.array([[0.0, 0.0, 1.0]])
    near = Sight(ball).gathered(points, normals, _ones(ball))
    assert Sight(far).gathered(points + AWAY, normals, _ones(ball)) == pytest.approx(near, abs=0.005)
