"""The zero surface is closed and holds the nodes below 0, whatever the field."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.distance.inside import winding_says_inside
from clearance.keepout.tetrahedra import zero_surface
from clearance.scene.mesh_health import closed, signed_volume


@pytest.mark.parametrize("seed", range(5))
def test_any_field_gives_a_closed_surface_about_its_low_nodes(seed):
    field = np.pad(np.random.default_rng(seed).normal(size=(7, 9, 8)), 1, constant_values=1.0)
    mesh = zero_surface(field, np.array([10.0, 20, 30]), np.array([2.0, 1.5, 1.0]))
    assert closed(mesh)
    nodes = np.array([10.0, 20, 30]) + [2.0, 1.5, 1.0] * np.argwhere(np.ones_like(field, dtype=bool))
    assert (winding_says_inside(mesh, nodes) == (field.ravel() < 0)).all()


def test_a_linear_field_gives_its_plane_exactly():
    x, y, z = np.meshgrid(*[np.arange(1.0, 8.0)] * 3, indexing="ij")
    field = np.pad(2 * x + y - z - 7.3, 1, constant_values=50.0)
    mesh = zero_surface(field, np.zeros(3), np.ones(3))
    inner = mesh.vertices[(np.abs(mesh.vertices - 4) < 2.4).all(axis=1)]
    assert len(inner) > 20
    assert np.abs(inner @ [2, 1, -1] - 7.3).max() < 1e-12


def test_a_ball_has_the_volume_of_a_ball():
    x, y, z = np.meshgrid(*[np.arange(-25.0, 25.1)] * 3, indexing="ij")
    mesh = zero_surface(np.sqrt(x * x + y * y + z * z) - 20.3, np.zeros(3), np.ones(3))
    # Chords of a sphere of radius r over edges of up to sqrt(3): short by (3/8) / r in depth at most, of 20.3 / 3.
    assert signed_volume(mesh) == pytest.approx(4 / 3 * np.pi * 20.3**3, rel=3 * 0.375 / 20.3 / 20.3)


def test_a_field_that_is_open_at_a_side_is_refused():
    with pytest.raises(ValueError, match="side"):
        zero_surface(np.where(np.indices((4, 4, 4))[0] < 2, -1.0, 1.0), np.zeros(3), np.ones(3))
