"""Fields against closed forms and against dense sampling with an independent library."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from clearance.motion.field import fields, may_be_lower
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.rock import rock_from
from clearance.scene.mesh import Mesh


def _mesh(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))


def _to_box(points: np.ndarray, half: float) -> np.ndarray:
    """Signed distance to an axis-parallel cube about the origin, closed form."""
    out = np.abs(points) - half
    return np.linalg.norm(np.maximum(out, 0), axis=1) + np.minimum(out.max(axis=1), 0)


def test_sphere_beside_a_plane_of_points_without_motion():
    ball = _mesh(trimesh.creation.icosphere(subdivisions=4, radius=10.0))
    grid = np.stack(np.meshgrid(np.arange(-30, 30.1, 0.5), np.arange(-30, 30.1, 0.5)), axis=-1).reshape(-1, 2)
    wall = np.column_stack([np.full(len(grid), 15.0), grid])
    on_part, on_wall = fields(ball, wall, False, PairMotion(), 60.0)
    # Distance to the plane, and at most what half a grid diagonal adds (Pythagoras).
    flat = 15.0 - ball.vertices[:, 0]
    assert np.all(on_part.values_mm >= flat - 1e-9)
    assert np.all(on_part.values_mm <= np.hypot(flat, 0.5 / np.sqrt(2)) + 1e-9)
    # Sphere facets lie inside the sphere by less than 0.02 mm at this subdivision.
    exact = np.linalg.norm(wall, axis=1) - 10.0
    assert np.all(on_wall.values_mm >= exact - 1e-9)
    assert np.all(on_wall.values_mm <= exact + 0.03)
    assert on_part.may_be_lower_mm == 0


def test_points_inside_the_part_are_negative_and_colour_the_part():
    ball = _mesh(trimesh.creation.icosphere(subdivisions=3, radius=10.0))
    on_part, on_zone = fields(ball, np.array([[8.0, 0, 0], [30.0, 0, 0]]), False, PairMotion(), 50.0)
    assert on_zone.values_mm[0] == pytest.approx(-2.0, abs=0.1)
    assert on_zone.values_mm[1] == pytest.approx(20.0, abs=0.1)
    assert on_part.values_mm.min() == pytest.approx(-2.0, abs=0.1)


def test_cap_says_at_least():
    ball = _mesh(trimesh.creation.icosphere(subdivisions=2, radius=10.0))
    on_part, on_zone = fields(ball, np.array([[100.0, 0, 0]]), False, PairMotion(), 25.0)
    assert on_part.values_mm.max() == 25.0 == on_zone.values_mm[0]


@pytest.mark.parametrize("part_rides", ["engine", "chassis"])
@pytest.mark.parametrize("zone_is_mesh", [False, True])
def test_within_its_stated_bound_of_dense_sampling(part_rides: str, zone_is_mesh: bool):
    rng = np.random.default_rng(5)
    part = _mesh(trimesh.creation.box((20, 30, 10)).subdivide())
    box = trimesh.creation.box((15, 15, 15)).subdivide()
    box.apply_translation([22, 6, 3])
    zone = _mesh(box) if zone_is_mesh else rng.uniform([12, -20, -20], [40, 20, 20], (60, 3))
    rock = rock_from(
        point=np.array([5.0, 0, -60.0]), direction=np.array([0.1, 1, 0]), up=np.array([0, 0, 1.0]),
        forward=np.array([1.0, 0, 0]), roll_deg=(-4, 6), lift_mm=(-2, 3), shift_mm=(-1.5, 1),
    )  # fmt: skip
    motion = pair_motion(part_rides, "engine" if part_rides == "chassis" else "chassis", rock)
    on_part, _ = fields(part, zone, True, motion, 80.0)
    dense = np.full(len(part.vertices), np.inf)
    for roll in np.linspace(*rock.roll_rad, 61):
        for lift in np.linspace(-2, 3, 7):
            for shift in np.linspace(-1.5, 1, 7):
                pose = rock.pose(roll, lift, shift)
                seen = (pose if motion.turned == "part" else pose.inverse()).apply(part.vertices)
                if zone_is_mesh:
                    distance = _to_box(seen - (22, 6, 3), 7.5)
                else:
                    distance = cKDTree(zone).query(seen)[0]
                dense = np.minimum(dense, distance)
    lower = may_be_lower(motion, part.vertices)
    touched = on_part.values_mm <= 0  # also where a zone point lies inside next to the vertex
    assert np.all((dense >= on_part.values_mm - lower - 1e-9) | touched)
    assert np.all(on_part.values_mm <= dense + lower + 1e-9)
    assert lower.max() < 5
