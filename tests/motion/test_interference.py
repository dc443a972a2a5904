"""Depth of interference against closed forms. A depth of d is reported as a clearance of -d, mm."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from scenes import rocking

from clearance.motion.interference import deepest
from clearance.motion.pair import PairMotion
from clearance.motion.sweep import sweep
from clearance.scene.mesh import Mesh

STILL = PairMotion()


def mesh_of(shape: trimesh.Trimesh, by=(0.0, 0, 0)) -> Mesh:
    return Mesh(np.asarray(shape.vertices, float) + by, np.asarray(shape.faces, np.int64))


def cube(side: float, by=(0.0, 0, 0)) -> Mesh:
    return mesh_of(trimesh.creation.box((side, side, side)), by)


def ball(radius: float, by=(0.0, 0, 0), finer: int = 4) -> Mesh:
    return mesh_of(trimesh.creation.icosphere(subdivisions=finer, radius=radius), by)


@pytest.mark.parametrize(("small", "large"), [("part", "zone"), ("zone", "part")])
def test_cube_in_cube(small, large):
    """Side 4, its middle 3 off that of side 20: its far face is 10 + 2 - 3 = 9 deep, and nothing touches."""
    bodies = {small: cube(4, (3, 0, 0)), large: cube(20)}
    found = sweep(bodies["part"], True, bodies["zone"], True, STILL, 0.02)
    assert found.contained
    # The large one's surface is 5 away from the small one and no surface point of it is inside.
    assert found.clearance.lower <= -9.0 <= found.clearance.upper
    assert found.clearance.upper == pytest.approx(-9.0, abs=1e-9)


def test_cube_in_a_shell_only_is_clear():
    """An open zone, such as a scanned housing, has no inside: a part within it is clear by the plain distance."""
    housing = cube(20)
    open_housing = Mesh(housing.vertices, housing.faces[:-1])
    found = sweep(cube(4, (3, 0, 0)), True, open_housing, False, STILL, 0.02)
    assert not found.contained
    assert found.clearance.contains(5.0)


def test_sphere_in_sphere():
    """Radius 5 with its middle 6 off that of radius 30: the deepest of its points is 30 - (6 - 5) = 29 deep."""
    found = sweep(ball(5, (6, 0, 0)), True, ball(30), True, STILL, 0.02)
    facet = 30 * (1 - np.cos(np.radians(5)))
    assert found.contained
    assert found.clearance.lower <= -29.0 + facet
    assert -29.0 - 1e-6 <= found.clearance.upper <= -29.0 + facet


def test_small_part_deep_inside_a_big_body():
    """The depth is the distance to the big body's surface, far more than the part is wide: 500 + 1."""
    found = sweep(cube(2), True, cube(1000), True, STILL, 0.02)
    assert found.clearance.lower <= -500.0 - 1e-6
    assert found.clearance.upper == pytest.approx(-500.0, abs=1.0 + 1e-6)


@pytest.mark.parametrize("overlap", [0.5, 3.0, 7.0])
def test_cubes_that_overlap(overlap):
    """Sides 20, one moved: a face of each is `overlap` deep in the other until the middle."""
    found = sweep(cube(20), True, cube(20, (20 - overlap, 0.3, 0.2)), True, STILL, 0.02).clearance
    assert found.lower <= -overlap <= found.upper + 1e-9
    assert found.width <= 1.0  # Samples are about 0.7 apart.


@pytest.mark.parametrize("turned", ["part", "zone"])
def test_scan_points_over_the_motion_are_exact_to_the_search_width(turned):
    """A lone point 12 from the middle of a ball of radius 10 is brought to 12 - 5 = 7 by a shift: 3 deep."""
    shift = (-1, 5) if turned == "part" else (-5, 1)
    found = sweep(ball(10), True, np.array([[12.0, 0, 0]]), False, rocking(turned, shift_mm=shift), 0.02)
    facet = 10 * (1 - np.cos(np.radians(2.5)))
    assert found.clearance.lower - facet <= -3.0 <= found.clearance.upper + 1e-9
    assert found.clearance.width <= 0.3 + 1e-9
    assert found.worst.shift_mm == pytest.approx(5.0 if turned == "part" else -5.0, abs=0.35)
    assert found.direction == pytest.approx([-1, 0, 0], abs=0.1)


def test_roll_brings_the_deepest_in_between():
    """A point on radius 200 swings through a ball of radius 10 whose middle lies on the arc: 10 deep half way."""
    at = np.radians(-4.0)
    point = 200 * np.array([[np.cos(at), 0, -np.sin(at)]])
    found = sweep(ball(10, (200, 0, 0)), True, point, False, rocking("zone", roll_deg=(-1.5, 8.5)), 0.02)
    facet = 10 * (1 - np.cos(np.radians(2.5)))
    assert found.clearance.lower - facet <= -10.0 <= found.clearance.upper + 1e-9
    assert np.degrees(found.worst.roll_rad) == pytest.approx(4.0, abs=0.3)


def test_surfaces_that_cross_between_samples():
    """A needle through a sheet: no corner or sample of one is inside the other, depth only bounded by the spacing."""
    needle = Mesh(np.array([[0.0, 0.01, -5], [0, 0.01, 5], [0.01, 0.02, 5]]), np.array([[0, 1, 2]]))
    sheet = Mesh(np.array([[-9.0, -9, 0], [9, -9, 0], [0, 18, 0]]), np.array([[0, 1, 2]]))
    found = sweep(needle, False, sheet, False, STILL, 0.02)
    assert found.clearance.upper == 0
    assert -1.0 <= found.clearance.lower <= 0
    assert found.on_part == pytest.approx(found.on_zone, abs=1e-6)
    assert found.on_part == pytest.approx([0, 0.01, 0], abs=0.02)


def test_depth_bound_when_the_budget_runs_out(monkeypatch):
    """With next to nothing to spend the bound is wide and still true."""
    monkeypatch.setattr("clearance.motion.interference.QUERY_BUDGET", 1)
    motion = rocking(roll_deg=(-5, 5), shift_mm=(-1, 5))
    found = deepest(ball(10), np.array([[12.0, 0, 0]]), False, motion).bound
    assert found.lower <= -3.0 <= found.upper
