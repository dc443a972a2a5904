"""Volume and area against closed forms; each fault found where it was planted."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import closed, health, signed_volume
from clearance.scene.winding import outward


def mesh_of(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))


BOX = mesh_of(trimesh.creation.box((10, 20, 30)))


def test_box() -> None:
    found = health(BOX)
    assert found.watertight
    assert found.volume_mm3 == pytest.approx(6000, rel=1e-12)
    assert found.area_mm2 == pytest.approx(2 * (200 + 300 + 600), rel=1e-12)
    assert (found.boundary_edges, found.non_manifold_edges, found.flipped_edges, found.pieces) == (0, 0, 0, 1)
    np.testing.assert_array_equal(found.high - found.low, (10, 20, 30))
    assert not found.inside_out


def test_sphere_far_from_the_origin() -> None:
    shape = trimesh.creation.icosphere(subdivisions=5, radius=50)
    shape.apply_translation((1e5, -1e5, 1e5))
    found = health(mesh_of(shape))
    # an inscribed polyhedron of edge about 1.7 mm falls short by (edge / radius)^2 / 4, about 3e-4
    assert found.volume_mm3 == pytest.approx(4 / 3 * np.pi * 50**3, rel=1e-3)
    assert found.area_mm2 == pytest.approx(4 * np.pi * 50**2, rel=1e-3)


def test_volume_far_from_the_origin_keeps_its_digits() -> None:
    # 10 km away: about the origin itself the sum would cancel to noise
    shift = np.array([1e7 + 0.3, 2e7 + 0.1, -3e7 + 0.7])
    assert signed_volume(Mesh(BOX.vertices + shift, BOX.faces)) == pytest.approx(6000, rel=1e-7)


def test_prism_with_closed_form() -> None:
    # a cylinder of n sides is a prism: area of base n/2 r^2 sin(2 pi / n)
    found = health(mesh_of(trimesh.creation.cylinder(radius=10, height=40, sections=24)))
    assert found.volume_mm3 == pytest.approx(40 * 12 * 100 * np.sin(2 * np.pi / 24), rel=1e-9)


def test_hole() -> None:
    found = health(Mesh(BOX.vertices, BOX.faces[1:]))
    assert not found.watertight
    assert found.boundary_edges == 3
    assert found.volume_mm3 is None


def test_flipped_triangle() -> None:
    faces = BOX.faces.copy()
    faces[0] = faces[0, ::-1]
    found = health(Mesh(BOX.vertices, faces))
    assert not found.watertight
    assert (found.flipped_edges, found.boundary_edges, found.non_manifold_edges) == (3, 0, 0)


def test_fin() -> None:
    vertices = np.vstack([BOX.vertices, [50, 50, 50]])
    fin = [*BOX.faces[0, :2], len(BOX.vertices)]
    found = health(Mesh(vertices, np.vstack([BOX.faces, fin])))
    assert (found.non_manifold_edges, found.boundary_edges) == (1, 2)
    assert not closed(Mesh(vertices, np.vstack([BOX.faces, fin])))


def test_doubled_triangle_is_not_closed() -> None:
    assert not closed(Mesh(BOX.vertices, np.vstack([BOX.faces, BOX.faces[:1]])))


def test_inside_out() -> None:
    inverted = Mesh(BOX.vertices, BOX.faces[:, ::-1].copy())
    assert health(inverted).inside_out
    assert signed_volume(outward(inverted)) == pytest.approx(6000, rel=1e-12)
    assert outward(BOX) is BOX


def test_pieces_and_unused_vertices() -> None:
    count = len(BOX.vertices)
    two = Mesh(np.vstack([BOX.vertices, BOX.vertices + 100, [[7, 7, 7]]]), np.vstack([BOX.faces, BOX.faces + count]))
    found = health(two)
    assert found.pieces == 2
    assert found.watertight


@pytest.mark.parametrize("seed", range(5))
def test_agrees_with_trimesh_on_random_soups(seed: int) -> None:
    random = np.random.default_rng(seed)
    shape = trimesh.creation.icosphere(subdivisions=2, radius=30)
    faces = np.asarray(shape.faces)[random.random(len(shape.faces)) < random.choice([0.7, 0.95, 1.0])]
    turned = random.random(len(faces)) < random.choice([0.0, 0.02])
    faces[turned] = faces[turned, ::-1]
    reference = trimesh.Trimesh(shape.vertices, faces, process=False)
    expected = bool(reference.is_watertight and reference.is_winding_consistent)
    assert closed(Mesh(np.asarray(shape.vertices), faces.astype(np.int64))) == expected
