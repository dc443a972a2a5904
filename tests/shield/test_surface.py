"""Pieces, islands and rims of open surfaces, and the solid of a sheet."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shield_scenes import box_of, sheet_mesh

from clearance.scene.mesh import Mesh
from clearance.shield.surface import pieces, thickened, with_clean_rim, without_islands


def _plate():
    return sheet_mesh(lambda u, v: np.column_stack([u, v, 0 * u]), np.arange(0, 101, 2.0), np.arange(0, 81, 2.0))


def test_islands_go_and_what_is_left_keeps_its_place():
    plate = _plate()
    centre = plate.triangles.mean(axis=1)
    large, small = centre[:, 0] < 50, (centre[:, 0] > 80) & (centre[:, 1] < 15)  # 4000 and 20 x 15 = 300 mm²
    left = without_islands(plate, large | small)
    assert np.array_equal(left, large)


def test_a_rim_that_meets_itself_in_one_vertex_is_opened():
    plate = _plate()
    x, y, _ = plate.triangles.mean(axis=1).T
    touching = ((x < 50) & (y < 40)) | ((x > 50) & (y > 40))  # two blocks with one vertex in common
    left = with_clean_rim(plate, touching)
    assert left.sum() < touching.sum()
    assert (touching & ~left).sum() <= 8
    sides = np.sort(np.stack([plate.faces[left], np.roll(plate.faces[left], -1, axis=1)], 2).reshape(-1, 2), axis=1)
    edges, times = np.unique(sides, axis=0, return_counts=True)
    assert np.bincount(edges[times == 1].ravel()).max() == 2


@pytest.mark.parametrize("gap", [0, 1])
def test_pieces_are_joined_by_edges(gap: int):
    plate = _plate()
    x = plate.triangles.mean(axis=1)[:, 0]
    label = pieces(plate.faces[(x < 40) | (x > 40 + 4 * gap)])
    assert label.max() == gap


def test_thickened_keeps_its_volume():
    plate = box_of((0, 0, 0), (50, 40, 1), longest=5.0)
    top = Mesh(plate.vertices, plate.faces[plate.triangles[:, :, 2].min(axis=1) > 1 - 1e-9])
    solid = thickened(top, 2.0)
    assert trimesh.Trimesh(solid.vertices, solid.faces).volume == pytest.approx(50 * 40 * 2.0)
