"""Winding against boxes whose inside is known: what a body swallows must lie inside however its triangles turn."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearance.distance.inside import winding_says_inside
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import closed, signed_volume
from clearance.scene.winding import outward, wound_alike


def box(*size: float, at: tuple[float, float, float] = (0, 0, 0), inverted: bool = False) -> Mesh:
    shape = trimesh.creation.box(size)
    faces = np.asarray(shape.faces, np.int64)
    return Mesh(np.asarray(shape.vertices, np.float64) + at, faces[:, ::-1].copy() if inverted else faces)


def together(*meshes: Mesh) -> Mesh:
    starts = np.cumsum([0, *(len(m.vertices) for m in meshes)])
    return Mesh(
        np.vstack([m.vertices for m in meshes]),
        np.vstack([m.faces + s for m, s in zip(meshes, starts, strict=False)]),
    )


@pytest.mark.parametrize("seed", range(6))
def test_a_shell_of_mixed_winding_becomes_closed(seed: int) -> None:
    random = np.random.default_rng(seed)
    shape = trimesh.creation.icosphere(subdivisions=2, radius=30)
    faces = np.asarray(shape.faces, np.int64).copy()
    turned = random.random(len(faces)) < (0.02, 0.2, 0.5, 0.5, 0.8, 1.0)[seed]
    faces[turned] = faces[turned, ::-1]
    alike = wound_alike(Mesh(np.asarray(shape.vertices), faces))
    assert closed(alike)
    assert abs(signed_volume(alike)) == pytest.approx(shape.volume, rel=1e-12)
    assert winding_says_inside(alike, np.zeros((1, 3))).all()
    assert (np.sort(alike.faces) == np.sort(faces)).all()


def test_each_piece_keeps_the_sense_of_most_of_its_triangles() -> None:
    first, second = box(10, 10, 10), box(10, 10, 10, at=(30, 0, 0), inverted=True)
    both = together(first, second)
    faces = both.faces.copy()
    faces[[0, 13]] = faces[[0, 13], ::-1]
    np.testing.assert_array_equal(wound_alike(Mesh(both.vertices, faces)).faces, both.faces)


def test_agreeing_and_one_sided_surfaces_are_left_alone() -> None:
    solid = box(10, 20, 30)
    assert wound_alike(solid) is solid
    strip = np.array([[0, 1, 2], [1, 2, 3], [2, 3, 4], [3, 4, 0], [4, 0, 1]], np.int64)
    moebius = Mesh(np.random.default_rng(1).normal(size=(5, 3)), strip)
    np.testing.assert_array_equal(wound_alike(moebius).faces, strip)


def test_a_body_that_crosses_another_inside_out_is_turned() -> None:
    crossing = outward(together(box(200, 40, 40, inverted=True), box(220, 30, 30)))
    assert winding_says_inside(crossing, np.array([[0.0, 0, 0], [105, 0, 0], [0, 18, 0]])).all()
    assert signed_volume(crossing) == pytest.approx(200 * 40 * 40 + 220 * 30 * 30)


def test_a_cavity_stays_a_cavity() -> None:
    for mirrored in (False, True):
        hollow = outward(together(box(40, 40, 40, inverted=mirrored), box(20, 20, 20, inverted=not mirrored)))
        assert signed_volume(hollow) == pytest.approx(40**3 - 20**3)
        np.testing.assert_array_equal(winding_says_inside(hollow, np.array([[0.0, 0, 0], [15, 0, 0]])), [False, True])


def test_a_small_body_beside_a_large_one_is_turned() -> None:
    beside = outward(together(box(40, 40, 40), box(10, 10, 10, at=(60, 0, 0), inverted=True)))
    assert signed_volume(beside) == pytest.approx(40**3 + 10**3)


@pytest.mark.parametrize("holed", [False, True])
def test_a_shell_written_from_both_sides_has_an_inside(holed: bool) -> None:
    shape = trimesh.creation.icosphere(subdivisions=2, radius=30)
    faces = np.asarray(shape.faces, np.int64)[1 if holed else 0 :]
    both = Mesh(np.asarray(shape.vertices, np.float64), np.vstack([faces, faces[:, ::-1]]))
    middle = np.zeros((1, 3))
    assert not winding_says_inside(both, middle).any()  # the two sides cancel
    assert winding_says_inside(wound_alike(both), middle).all()


def test_bodies_that_share_a_wall_keep_both_its_sides() -> None:
    left = box(10, 10, 10)
    right = Mesh(
        left.vertices * (-1, 1, 1) + (10, 0, 0), left.faces[:, ::-1]
    )  # mirrored: the same diagonal in the wall
    both = together(left, right)
    corners, names = np.unique(both.vertices, axis=0, return_inverse=True)
    shared = Mesh(corners, np.ravel(names)[both.faces])
    assert len(np.unique(np.sort(shared.faces, axis=1), axis=0)) == 22
    assert len(wound_alike(shared).faces) == 24
    assert winding_says_inside(wound_alike(shared), np.array([[0.0, 0, 0], [10, 0, 0]])).all()
