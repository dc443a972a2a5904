"""Thinned points and meshes: no more than asked for, nothing made up, what matters kept."""

from __future__ import annotations

import numpy as np
import trimesh

from clearance.outputs.thinning import thinned, thinned_mesh
from clearance.scene.mesh import Mesh


def test_few_points_all_stay():
    assert thinned(np.zeros((5, 3)), 5).tolist() == [0, 1, 2, 3, 4]


def test_many_points_become_few_and_even_and_the_wanted_ones_stay():
    points = np.random.default_rng(1).uniform(0, 200, (40_000, 3))
    wanted = np.linalg.norm(points - 100, axis=1) < 20
    kept = thinned(points, 6000, wanted)
    assert 2000 < len(kept) <= 6000
    assert np.array_equal(kept, np.unique(kept))
    assert np.isin(np.flatnonzero(wanted), kept).all()
    eighth = (points[kept] < 100).all(axis=1).mean()
    assert 0.08 < eighth < 0.17  # an eighth of the cube holds about an eighth of them


def test_more_wanted_points_than_fit_are_thinned_too():
    points = np.random.default_rng(2).uniform(0, 200, (40_000, 3))
    kept = thinned(points, 3000, points[:, 0] < 100)
    assert 500 < len(kept) <= 3000
    assert (points[kept, 0] < 100).all()


def test_a_small_mesh_stays_and_is_only_put_in_order():
    box = trimesh.creation.box((30, 20, 10)).subdivide()
    mesh, old = thinned_mesh(Mesh(np.array(box.vertices), np.array(box.faces)), 10_000)
    assert np.array_equal(mesh.vertices, box.vertices[old])
    again = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert again.volume == 30 * 20 * 10 or abs(again.volume - 6000) < 1e-9


def test_a_large_mesh_keeps_its_shape():
    ball = trimesh.creation.icosphere(subdivisions=6, radius=50)
    mesh, old = thinned_mesh(Mesh(np.array(ball.vertices), np.array(ball.faces)), 20_000)
    assert 5000 < len(mesh.faces) <= 20_000
    assert np.array_equal(mesh.vertices, ball.vertices[old])
    again = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert abs(again.volume / ball.volume - 1) < 0.02  # flat pieces of about 1.5 mm on a ball of 50 mm
