"""What a point sees of a hot body: integrated against closed forms and against dense rays; energy closes."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearance.heat.emitter import Emitter
from clearance.heat.radiation import SIGMA
from clearance.scene.mesh import Mesh


def _mesh(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.array(shape.vertices), np.array(shape.faces, dtype=np.int64))


def _emitter(shape: trimesh.Trimesh, kelvin: float = 900.0, emissivity: float = 0.8) -> Emitter:
    count = len(shape.faces)
    return Emitter(_mesh(shape), np.full(count, kelvin), np.full(count, emissivity))


BALL = trimesh.creation.icosphere(4, 100.0)
UP = np.array([[0.0, 0.0, 1.0]])


@pytest.mark.parametrize(("away", "wanted"), [(105.0, (100 / 105) ** 2), (200.0, 0.25), (500.0, 0.04)])
def test_a_ball_integrated(away, wanted):
    """(R/h)²; the facets make the ball smaller by 0.2 %."""
    seen = _emitter(BALL).integrated(np.array([[0.0, 0.0, -away]]), UP)
    assert seen.factor[0] == pytest.approx(wanted, rel=0.01)
    assert seen.hot_K[0] == pytest.approx(900.0)
    assert seen.own_W_m2[0] == pytest.approx(0.8 * SIGMA * 900**4 * seen.factor[0], rel=1e-6)  # convex
    assert seen.mirrored[0] == pytest.approx(0.2 * seen.factor[0], rel=1e-6)


def test_integration_and_dense_rays_agree_where_things_hide_each_other():
    """Three tubes that hide part of one another, from places all about."""
    tubes = [trimesh.creation.capsule(height=200, radius=20, count=[24, 24]) for _ in range(3)]
    for i, tube in enumerate(tubes):
        tube.apply_translation([45.0 * i, 30.0 * (i % 2), 10.0 * i])
    shape = trimesh.util.concatenate([tube.subdivide_to_size(8.0) for tube in tubes])
    emitter = _emitter(shape)
    rng = np.random.default_rng(3)
    points = rng.normal(size=(12, 3))
    points = [45, 15, 110] + 220 * points / np.linalg.norm(points, axis=1, keepdims=True)
    normals = [45, 15, 110] - points + rng.normal(scale=60.0, size=(12, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    exact = emitter.integrated(points, normals).factor
    dense = emitter.seen_by(points, normals, rays=200_000).factor
    assert exact == pytest.approx(dense, rel=0.01, abs=5e-4)
    assert exact.min() < 0.1 < 0.2 < exact.max()


def test_inside_a_closed_shell_everything_seen_is_the_shell():
    shell = BALL.copy()
    shell.invert()
    emitter = _emitter(shell, emissivity=0.3)
    points = np.array([[0.0, 0, 0], [40, 10, -30]])
    normals = np.array([[0.0, 0, 1], [1, 0, 0]])
    for seen in (emitter.integrated(points, normals), emitter.seen_by(points, normals)):
        assert seen.factor == pytest.approx(1.0, abs=0.01)
        assert seen.own_W_m2 == pytest.approx(SIGMA * 900**4, rel=0.01)  # Kirchhoff: a closed cavity is black
        assert seen.mirrored == pytest.approx(0.0, abs=0.01)


def test_regions_count_by_what_is_seen_of_them():
    """A ball hot above, cool below, seen from the side: half of each, sigma (T1⁴ + T2⁴) / 2."""
    ball = trimesh.creation.uv_sphere(radius=100.0, count=[64, 64])
    warm = np.where(ball.triangles_center[:, 2] > 0, 900.0, 500.0)
    emitter = Emitter(_mesh(ball), warm, np.ones(len(warm)))
    side, towards = np.array([[400.0, 0.0, 0.0]]), np.array([[-1.0, 0.0, 0.0]])
    seen = emitter.integrated(side, towards)
    assert seen.black_W_m2[0] / seen.factor[0] == pytest.approx(SIGMA * (900**4 + 500**4) / 2, rel=0.01)
