"""Refining changes neither the surface nor its closedness."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from clearance.scene.mesh import Mesh
from clearance.scene.refine import MOST_TRIANGLES, edge_limit, refined


@given(st.floats(2, 200), st.floats(2, 200), st.floats(2, 200), st.floats(1.5, 60))
@settings(max_examples=15, deadline=None)
def test_box_stays_a_box(x: float, y: float, z: float, longest: float):
    shape = trimesh.creation.box((x, y, z))
    start = Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))
    limit = edge_limit(start, longest)
    mesh = refined(start, limit)
    fine = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert fine.is_watertight
    assert fine.volume == pytest.approx(x * y * z, rel=1e-12)
    assert fine.area == pytest.approx(2 * (x * y + y * z + z * x), rel=1e-12)
    assert fine.edges_unique_length.max() <= limit or len(mesh.faces) > MOST_TRIANGLES
    assert np.abs(np.abs(mesh.vertices) / (x, y, z)).max() <= 0.5 + 1e-12
    assert len(mesh.faces) <= 4 * MOST_TRIANGLES


def test_fine_mesh_is_left_alone():
    shape = trimesh.creation.icosphere(subdivisions=3, radius=10)
    start = Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))
    assert refined(start, 5.0).faces is start.faces


def test_zero_edge_is_refused():
    with pytest.raises(ValueError, match="above 0"):
        refined(Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]])), 0.0)
