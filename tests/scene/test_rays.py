"""Rays against a sphere and a square, where they meet it is a closed form."""

from __future__ import annotations

import numpy as np
import trimesh

from clearance.scene.mesh import Mesh
from clearance.scene.rays import Rays

FAR = 5000.0
"""Where the bodies stand, mm: single precision resolves half a micrometre there."""


def _unit(random: np.random.Generator, count: int) -> np.ndarray:
    ways = random.normal(size=(count, 3))
    return ways / np.linalg.norm(ways, axis=1)[:, None]


def test_rays_meet_a_square_where_they_cross_its_plane():
    random = np.random.default_rng(1)
    square = Mesh(
        np.array([[-50, -50, 0], [50, -50, 0], [50, 50, 0], [-50, 50, 0.0]]) + FAR, np.array([[0, 1, 2], [0, 2, 3]])
    )
    eyes, ways = random.uniform(-80, 80, (2000, 3)), _unit(random, 2000)
    length = -eyes[:, 2] / ways[:, 2]
    place = eyes + length[:, None] * ways
    inward = 50 - np.abs(place[:, :2]).max(axis=1)
    sure = (np.abs(inward) > 0.01) & (np.abs(ways[:, 2]) > 0.01)
    meets = (inward > 0) & (length > 0)
    caster = Rays(square)
    found = caster.hits(eyes + FAR, ways)
    assert meets[sure].sum() > 100
    assert ((found["primID"] >= 0) == meets)[sure].all()
    assert ((caster.first_hit(eyes + FAR, ways) >= 0) == meets)[sure].all()
    both = sure & meets
    assert np.abs(found["tfar"][both] - length[both]).max() < 0.01


def test_every_ray_from_inside_a_closed_body_meets_it():
    ball = trimesh.creation.icosphere(subdivisions=3, radius=30)
    mesh = Mesh(np.asarray(ball.vertices) + FAR, np.asarray(ball.faces, np.int64))
    random = np.random.default_rng(2)
    eyes = _unit(random, 3000) * random.uniform(0, 25, (3000, 1)) + FAR
    assert (Rays(mesh).first_hit(eyes, _unit(random, 3000)) >= 0).all()


def test_a_mesh_without_triangles_is_met_by_no_ray():
    assert (
        Rays(Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int64))).first_hit(np.zeros((4, 3)), np.eye(4, 3)) < 0
    ).all()
