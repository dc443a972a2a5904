"""Triangles cut along a disc: nothing lost, nothing beyond the disc taken, the rim within its bound."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from clearance.scene.cut_disc import RIM_MM, Disc, cut_disc
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import surface_area


def _away(points, disc):
    offset = points - disc.point
    return np.linalg.norm(offset - np.outer(offset @ disc.normal, disc.normal), axis=-1)


@pytest.mark.parametrize("seed", range(12))
def test_random_flat_triangles(seed):
    rng = np.random.default_rng(seed)
    turn, radius = Rotation.random(rng=rng).as_matrix(), 10 ** rng.uniform(0, 2)
    corners = np.column_stack([rng.normal(size=(60, 2)) * 2 * radius, rng.normal(size=60) * 0.1])
    mesh = Mesh(corners @ turn.T + 300, np.arange(60, dtype=np.int64).reshape(-1, 3))
    disc = Disc(np.full(3, 300.0), turn @ [0.0, 0, 1], radius)
    outside, inside = cut_disc(mesh, disc)
    assert surface_area(outside) + surface_area(inside) == pytest.approx(surface_area(mesh), rel=1e-9)
    for piece, left in ((outside, True), (inside, False)):
        if not len(piece.faces):
            continue
        shape = trimesh.Trimesh(piece.vertices, piece.faces, process=False)
        points, _ = trimesh.sample.sample_surface(shape, 2000, seed=seed)
        away = _away(points, disc)
        assert (away >= radius - RIM_MM - 1e-9).all() if left else (away <= radius + 1e-9).all()
        off = np.sqrt(igl.point_mesh_squared_distance(points, mesh.vertices, mesh.faces)[0])
        assert off.max() < 1e-8 * max(radius, 1)


def test_a_disc_within_one_large_triangle_takes_its_own_area():
    mesh = Mesh(np.array([[-500.0, -500, 3], [900, -500, 3], [-500, 900, 3]]), np.array([[0, 1, 2]]))
    outside, inside = cut_disc(mesh, Disc(np.array([0.0, 0, 3]), np.array([0.0, 0, 1]), 40.0))
    area = surface_area(inside)
    assert np.pi * (40 - RIM_MM) ** 2 <= area <= np.pi * 40**2
    assert surface_area(outside) == pytest.approx(1400**2 / 2 - area, abs=1e-6)


def test_what_is_wholly_off_or_on_stays_as_it_is():
    far = np.array([[100.0, 0, 0], [101, 0, 0], [100, 1, 0]])
    near = np.array([[1.0, 0, 0], [2, 0, 0], [1, 1, 0]])
    mesh = Mesh(np.vstack([far, near]), np.array([[0, 1, 2], [3, 4, 5]]))
    outside, inside = cut_disc(mesh, Disc(np.zeros(3), np.array([0.0, 0, 1]), 10.0))
    assert (outside.triangles == far).all()
    assert (inside.triangles == near).all()
