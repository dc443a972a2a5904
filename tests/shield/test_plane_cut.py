"""A cut leaves no cracks, loses no area and follows the plane."""

from __future__ import annotations

import numpy as np
import pytest
from shield_scenes import cap_mesh

from clearance.scene.mesh import Mesh
from clearance.shield.plane_cut import cut_by_plane
from clearance.shield.surface import edges_of, face_areas, pieces, tidied


@pytest.mark.parametrize("seed", range(6))
def test_both_sides_of_a_cap(seed: int):
    rng = np.random.default_rng(seed)
    cap = cap_mesh(40.0, 0.9)
    axis = rng.normal(size=3) * (1, 1, 0.2)
    axis /= np.linalg.norm(axis)
    away = (cap.vertices - (0, 0, 36.0)) @ axis
    away[np.abs(away) < 0.3 * (seed % 2)] = 0.0  # every other time some vertices are taken to lie on the plane
    above, below = cut_by_plane(cap, away)
    assert face_areas(above).sum() + face_areas(below).sum() == pytest.approx(face_areas(cap).sum(), rel=1e-12)
    on = 0.3 + 1e-9 if seed % 2 else 1e-9
    assert ((above.vertices[above.faces] - (0, 0, 36.0)) @ axis).min() > -on
    assert ((below.vertices[below.faces] - (0, 0, 36.0)) @ axis).max() < on
    for side in map(tidied, (above, below)):
        assert pieces(side.faces).max() == 0
        edges, rim = edges_of(side.faces)
        assert len(side.vertices) - len(edges) + len(side.faces) == 1  # Euler: a disc, so no cracks
        assert np.bincount(edges[rim].ravel())[np.unique(edges[rim])].tolist() == [2] * int(rim.sum())
    a, b, c = above.triangles.swapaxes(0, 1)
    assert (np.einsum("ij,ij->i", np.cross(b - a, c - a), a + b + c) > 0).all()  # still outward


def test_a_plane_that_misses_leaves_the_mesh_as_it_is():
    cap: Mesh = cap_mesh(40.0, 0.5)
    above, below = cut_by_plane(cap, np.ones(len(cap.vertices)))
    assert np.array_equal(np.sort(above.faces, axis=0), np.sort(cap.faces, axis=0))
    assert len(below.faces) == 0
