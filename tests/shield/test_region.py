"""What belongs to a shield: over the need and a margin, not in bores, in whole pieces."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shield_scenes import box_of, mesh_of, sheet_mesh

from clearance.distance.inside import Surface
from clearance.shield.offset import level_surface
from clearance.shield.region import enclosed, outside_faces, pieces, region, with_clean_rim, without_islands


def _plate():
    return sheet_mesh(lambda u, v: np.column_stack([u, v, 0 * u]), np.arange(0, 101, 2.0), np.arange(0, 81, 2.0))


def test_over_a_plate_it_is_the_need_grown_by_the_margin():
    part = box_of((0, 0, 0), (200, 150, 10), longest=5.0)
    centre = part.triangles.mean(axis=1)
    need = (np.abs(centre[:, 0] - 100) < 30) & (np.abs(centre[:, 1] - 75) < 30) & (centre[:, 2] > 9.9)
    corners = part.vertices[np.unique(part.faces[need])]
    low, high = corners.min(axis=0), corners.max(axis=0)
    level = level_surface(Surface(part), low - 25, high + 25, 10.0, 2.0)
    kept = region(level, part, need, 10.0)
    a, b, c = level.mesh.triangles[kept].swapaxes(0, 1)
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2
    # A rectangle grown by 10 mm with rounded corners; the rim runs along triangles of 2 mm.
    wide, high_ = (high - low)[:2]
    exact = wide * high_ + 2 * 10 * (wide + high_) + np.pi * 100
    assert abs(area - exact) < 2.5 * 2 * (wide + high_ + 40)
    assert np.allclose(level.mesh.vertices[np.unique(level.mesh.faces[kept])][:, 2], 20.0, atol=1e-6)


def test_the_bore_of_a_pipe_gets_no_shield():
    pipe = mesh_of(trimesh.creation.annulus(20.0, 24.0, 200.0, sections=64).subdivide())
    assert enclosed(pipe, np.array([[0.0, 0, 0], [30.0, 0, 0], [0, 0, 150.0]])).tolist() == [True, False, False]
    everything = np.ones(len(pipe.faces), dtype=bool)
    outside = outside_faces(pipe, everything)
    radius, along = np.hypot(*pipe.triangles.mean(axis=1)[:, :2].T), pipe.triangles.mean(axis=1)[:, 2]
    assert outside[radius > 23.5].all()
    assert not outside[(radius < 20.5) & (np.abs(along) < 60)].any()


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
