"""Inside and outside, against closed forms and an independent winding number."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from brute import signed, winding

from clearance.distance.inside import (
    Surface,
    any_inside,
    covered,
    crossings,
    nearest_face,
    one_vertex_per_body,
    unsigned_distance,
    winding_says_inside,
)
from clearance.scene.mesh import Mesh
from clearance.scene.rays import Rays


def mesh_of(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, float), np.asarray(shape.faces, np.int64))


def box_signed(points: np.ndarray, half: np.ndarray) -> np.ndarray:
    """Closed form of a box about the origin."""
    out = np.abs(points) - half
    return np.linalg.norm(np.maximum(out, 0), axis=1) + np.minimum(out.max(axis=1), 0)


@pytest.mark.parametrize("finer", [0, 4])
def test_signed_distance_of_a_box(finer):
    """12 triangles use the exact winding number, 3072 the fast one."""
    shape = trimesh.creation.box((20, 30, 10))
    for _ in range(finer):
        shape = shape.subdivide()
    rng = np.random.default_rng(0)
    points = rng.uniform(-25, 25, (3000, 3))
    found, closest = Surface(mesh_of(shape)).signed_distance(points)
    wanted = box_signed(points, np.array([10.0, 15, 5]))
    assert found == pytest.approx(wanted, abs=1e-9)
    assert np.linalg.norm(points - closest, axis=1) == pytest.approx(np.abs(wanted), abs=1e-9)
    assert (winding_says_inside(mesh_of(shape), points) == (wanted < 0)).all()
    assert unsigned_distance(mesh_of(shape), points)[0] == pytest.approx(np.abs(wanted), abs=1e-9)


def test_hollow_shell_has_its_cavity_outside():
    outer, inner = trimesh.creation.box((20, 20, 20)), trimesh.creation.box((14, 14, 14))
    inner.invert()
    shell = mesh_of(trimesh.util.concatenate(outer, inner))
    cavity_wall_outside = np.array([[0.0, 0, 0], [8.5, 0, 0], [11.0, 0, 0]])
    assert winding_says_inside(shell, cavity_wall_outside).tolist() == [False, True, False]
    assert len(one_vertex_per_body(shell)) == 2


def cut_sphere(height: float) -> Mesh:
    """Unit-10 sphere with all above `height` cut off, 5120 triangles before."""
    ball = mesh_of(trimesh.creation.icosphere(subdivisions=4, radius=10.0))
    return Mesh(ball.vertices, ball.faces[ball.triangles[:, :, 2].max(axis=1) <= height])


def test_open_part_is_judged_by_more_than_half_a_turn():
    """A sphere cut at height h covers (1 + h / r) / 2 of all directions from its middle (solid angle of a cap)."""
    bowl = cut_sphere(5.0)
    middle = np.zeros((1, 3))
    # Faces are dropped whole, so the rim lies up to an edge (about 0.7 mm) lower than 5.
    assert 0.5 * (1 + 0.43) <= winding(bowl.triangles, middle)[0] <= 0.5 * (1 + 0.5) + 1e-6
    points = np.array([[0.0, 0, 0], [0, 0, -9], [4, 3, 2], [0, 0, 30], [0, 0, -12], [0, 0, 9.5]])
    assert winding_says_inside(bowl, points).tolist() == [True, True, True, False, False, False]
    found, _ = Surface(bowl).signed_distance(points)
    assert found == pytest.approx(signed(bowl.triangles, points), abs=1e-6)
    assert not winding_says_inside(cut_sphere(-2.0), middle)[0]


@pytest.mark.parametrize("seed", range(6))
def test_any_inside_agrees_with_asking_every_point(seed):
    """A few of many points inside a thin-walled tube: groups must not hide them."""
    rng = np.random.default_rng(seed)
    tube = mesh_of(trimesh.creation.annulus(r_min=20.0, r_max=20.5 + seed * 0.3, height=60.0, sections=96))
    points = rng.uniform(-40, 40, (6000, 3))
    inside = winding(tube.triangles, points) > 0.5
    outside = points[~inside]
    assert not any_inside(tube, outside)
    for lone in points[inside][:5]:
        assert any_inside(tube, np.vstack([outside, lone]))
    assert not any_inside(tube, np.zeros((0, 3)))


def test_nearest_face_is_the_one_below():
    mesh = Mesh(np.array([[0.0, 0, 0], [4, 0, 0], [0, 4, 0], [9, 9, 0]]), np.array([[0, 1, 2], [1, 3, 2]]))
    assert nearest_face(mesh, np.array([0.5, 0.5, 3.0])) == 0
    assert nearest_face(mesh, np.array([5.0, 5.0, 3.0])) == 1


def test_covered_is_the_share_of_the_solid_angle_whatever_the_winding():
    way = np.random.default_rng(3).normal(size=(4000, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    box = trimesh.creation.box((2, 2, 2))
    faces = np.asarray(box.faces, np.int64).copy()
    faces[::2] = faces[::2, ::-1]
    centre = np.zeros(3)
    assert covered(Mesh(np.asarray(box.vertices), faces), centre, way) == 1
    # One of six equal sides is left out: 5/6 of the sphere. 0.03 is five standard errors of 4000 random rays.
    open_box = Mesh(np.asarray(box.vertices), faces[box.face_normals[:, 2] < 0.5])
    assert covered(open_box, centre, way) == pytest.approx(5 / 6, abs=0.03)
    # A sphere of radius r seen from d covers (1 - sqrt(1 - (r / d)^2)) / 2.
    ball = trimesh.creation.icosphere(subdivisions=4, radius=1)
    seen = covered(Mesh(np.asarray(ball.vertices), np.asarray(ball.faces, np.int64)), np.array([1.25, 0, 0]), way)
    assert seen == pytest.approx((1 - np.sqrt(1 - 0.64)) / 2, abs=0.03)


def test_crossings_are_the_triangles_that_a_ray_meets():
    ball = trimesh.creation.icosphere(subdivisions=3, radius=50)
    shell = trimesh.util.concatenate([ball, trimesh.creation.icosphere(subdivisions=2, radius=20)])
    mesh, way = mesh_of(shell), np.random.default_rng(4).normal(size=(500, 3))
    way /= np.linalg.norm(way, axis=1, keepdims=True)
    for point in (np.array([70.0, 3, 1]), np.array([35.0, 2, 1]), np.array([1.0, 2, 3])):
        eyes = np.tile(point, (500, 1))
        _, ray, _ = shell.ray.intersects_location(eyes, way, multiple_hits=True)
        expected = np.bincount(ray, minlength=500)
        assert np.array_equal(crossings(mesh, point, way), expected)
        assert np.array_equal(Rays(mesh).crossings(eyes, way), expected)
