"""Exact distance at a pose: published values, closed forms, and agreement with libigl and brute force."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh
from brute import distance
from scipy.spatial.transform import Rotation

from clearance.distance.body import mesh_body, point_body
from clearance.distance.fcl_engine import FclBody
from clearance.scene.mesh import Mesh

AGREE_MM = 1e-6
"""A nanometre: what the engine, libigl and brute force may differ by."""


def mesh_of(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, float), np.asarray(shape.faces, np.int64))


def soup_of(triangles) -> Mesh:
    triangles = np.asarray(triangles, float).reshape(-1, 3, 3)
    return Mesh(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3))


def apart(a: Mesh, b: Mesh) -> float:
    return FclBody(mesh_body(a)).closest(FclBody(mesh_body(b))).distance_mm


def test_published_segments_as_thin_triangles(segment_pair):
    p0, p1, q0, q1, wanted = segment_pair
    found = apart(soup_of([p0, p1, p1]), soup_of([q0, q1, q1]))
    assert found == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("angle_rad", [1e-1, 1e-3, 1e-5, 1e-7, 1e-8, 1e-9, 1e-11, 0.0])
def test_long_edges_nearly_parallel(angle_rad):
    """Edges of 500 mm that cross at 7 mm under a small angle: the gap along the common normal is 7 mm."""
    along = 250 * np.array([np.cos(angle_rad), np.sin(angle_rad), 0.0])
    a = [[-250, 0, 0], [250, 0, 0], [0, 0, -40]]
    aside = np.array([30.0, 0, 7])
    b = [aside - along, aside + along, [0, 0, 60]]
    assert apart(soup_of(a), soup_of(b)) == pytest.approx(7.0, abs=AGREE_MM)


@pytest.mark.parametrize(
    ("point", "wanted"),
    [((0.25, 0.25, 1), 1.0), ((2, 2, 0), np.sqrt(4.5)), ((-1, -1, 1), np.sqrt(3)), ((0.5, -2, 0), 2.0)],
)
def test_scan_point_against_a_triangle(point, wanted):
    """Face, edge and corner regions, by Pythagoras."""
    point_as_body = FclBody(point_body(np.array([point], float)))
    found = FclBody(mesh_body(soup_of([[0, 0, 0], [1, 0, 0], [0, 1, 0]]))).closest(point_as_body)
    assert found.distance_mm == pytest.approx(wanted, abs=1e-12)
    assert found.on_b == pytest.approx(point)


def test_sphere_and_box_of_scan_points():
    """Distance of a point to a box with half sides h is |max(|p| - h, 0)|: (4, 6, 3) to (1, 2, 3) is 5."""
    box = mesh_of(trimesh.creation.box((2, 4, 6)))
    found = FclBody(mesh_body(box)).closest(FclBody(point_body(np.array([[4.0, 6, 3], [40, 0, 0]]))))
    assert found.distance_mm == pytest.approx(5.0, abs=1e-12)
    assert found.owner_b == 0


def test_capsules_at_right_angles():
    """Axes 40 apart, radii 12 and 8: 40 - 12 - 8 = 20; facets with step s lie up to r(1 - cos(s/2)) inside."""
    count = 256
    a = trimesh.creation.capsule(height=100, radius=12, count=(count, count))
    b = trimesh.creation.capsule(height=100, radius=8, count=(count, count))
    a.apply_translation(-a.bounds.mean(axis=0))
    b.apply_translation(-b.bounds.mean(axis=0))
    a.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, (0, 1, 0)))
    b.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, (1, 0, 0)))
    b.apply_translation((0, 0, 40))
    facet = 20 * (1 - np.cos(np.pi / count))
    found = apart(mesh_of(a), mesh_of(b))
    assert 20.0 - 1e-9 <= found <= 20.0 + facet + 1e-9


def random_pair(seed: int) -> tuple[Mesh, Mesh, np.ndarray, np.ndarray]:
    """Two soups of good, thin and degenerate triangles and a pose of the first."""
    rng = np.random.default_rng(seed)
    scale = 10 ** rng.uniform(-1, 2)

    def soup(count: int) -> Mesh:
        corners = rng.normal(size=(count, 1, 3)) * scale + rng.normal(size=(count, 3, 3)) * scale * 0.4
        kind = rng.integers(0, 5, count)
        corners[kind == 0, 2] = corners[kind == 0, 1] * 0.3 + corners[kind == 0, 0] * 0.7
        corners[kind == 1] = corners[kind == 1][:, :1]
        corners[kind == 2, 2] = corners[kind == 2, 1] + rng.normal(size=3) * scale * 1e-6
        return soup_of(corners)

    rotation = Rotation.random(random_state=int(seed)).as_matrix()
    return soup(rng.integers(1, 25)), soup(rng.integers(1, 25)), rotation, rng.normal(size=3) * scale * 4


@pytest.mark.parametrize("seed", range(200))
def test_random_soups_agree_with_brute_force(seed):
    a, b, rotation, translation = random_pair(seed)
    moving = FclBody(mesh_body(a))
    moving.place(rotation, translation)
    found = moving.closest(FclBody(mesh_body(b)))
    placed = a.triangles @ rotation.T + translation
    assert found.distance_mm == pytest.approx(distance(placed, b.triangles), abs=AGREE_MM)
    if found.distance_mm:  # The witness points lie on the primitives that are said to own them.
        for point, tri in ((found.on_a, placed[found.owner_a]), (found.on_b, b.triangles[found.owner_b])):
            assert distance(np.array([[point] * 3]), tri[None]) < AGREE_MM


@pytest.mark.parametrize("seed", range(20))
def test_scan_points_agree_with_libigl_and_brute_force(seed):
    rng = np.random.default_rng(seed)
    shape = trimesh.creation.icosphere(subdivisions=2, radius=30.0)
    mesh = mesh_of(shape)
    mesh = Mesh(mesh.vertices + rng.normal(size=mesh.vertices.shape), mesh.faces)
    points = rng.normal(size=(80, 3))
    points *= rng.uniform(34, 120, size=(80, 1)) / np.linalg.norm(points, axis=1, keepdims=True)
    engine = FclBody(mesh_body(mesh)).closest(FclBody(point_body(points)))
    squared, _, _ = igl.point_mesh_squared_distance(points, mesh.vertices, mesh.faces)
    wanted = distance(mesh.triangles, np.repeat(points[:, None], 3, axis=1))
    assert engine.distance_mm == pytest.approx(wanted, abs=AGREE_MM)
    assert np.sqrt(squared.min()) == pytest.approx(wanted, abs=AGREE_MM)
    assert engine.owner_b == int(squared.argmin())


def test_a_hundred_thousand_coincident_points():
    box = FclBody(mesh_body(mesh_of(trimesh.creation.box((2, 2, 2)))))
    found = box.closest(FclBody(point_body(np.full((100_000, 3), 4.0))))
    assert found.distance_mm == pytest.approx(np.sqrt(27), abs=1e-12)


def test_no_body_without_triangles():
    with pytest.raises(ValueError, match="at least one triangle"):
        FclBody(mesh_body(Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int64))))
