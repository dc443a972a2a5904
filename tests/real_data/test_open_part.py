"""What lies within a real scan with holes and turned patches, against the whole scan's own winding number."""

from __future__ import annotations

from pathlib import Path

import igl
import numpy as np
import pytest
import trimesh

from clearance.distance.inside import winding_says_inside
from clearance.scene.mesh import Mesh
from clearance.verdict.enclosed import may_lie_within

pytestmark = pytest.mark.real_data


@pytest.mark.parametrize("gone", [0.02, 0.1])
def test_points_within_a_scan_with_holes_and_turned_patches_are_doubted(real_data: Path, gone: float):
    whole = trimesh.load(real_data / "dragon" / "dragon_vrip_res3.ply", process=False)
    vertices, faces = np.asarray(whole.vertices) * 1000.0, np.asarray(whole.faces, np.int64)
    middle, size = vertices[faces].mean(axis=1), np.ptp(vertices, axis=0).max()
    rng = np.random.default_rng(1)
    kept = np.ones(len(faces), bool)
    while 1 - kept.mean() < gone:
        kept &= np.linalg.norm(middle - middle[rng.integers(len(middle))], axis=1) > 0.04 * size
    slab = (middle[kept, :1] // (0.1 * size)).astype(np.int64) % 2 == 0
    mesh = Mesh(vertices, np.where(slab, faces[kept], faces[kept][:, ::-1]))
    points = rng.uniform(vertices.min(axis=0), vertices.max(axis=0), (1500, 3))
    points = points[~winding_says_inside(mesh, points)]
    inside = np.abs(igl.fast_winding_number(vertices, faces, points)) > 0.5
    doubted = may_lie_within(mesh, points)
    assert inside.sum() > 150
    assert doubted[inside].mean() > 0.95
    assert doubted[~inside].mean() < 0.01
