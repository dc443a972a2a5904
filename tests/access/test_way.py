"""Slides and paths against closed forms and dense samples."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from brute import signed

from clearance.access.moving import STILL, Body, Leg, along
from clearance.access.obstacle import Obstacle
from clearance.access.result import Outcome
from clearance.access.way import check_way, legs_of
from clearance.job.access import Access as Table
from clearance.scene.mesh import Mesh

SIDE = 10.0
ROUGH_MM = 0.05
"""Bounds are 0.02 wide; a corner of a cube is a point, so that nothing else is in doubt."""


def slid(cube: Body, length: float, *obstacles: Obstacle):
    table = Table.model_validate({"name": "a", "slide": {"along": (1.0, 0.0, 0.0), "length": length}})
    return check_way("a", "slide", cube, legs_of(table, cube), obstacles)


def walked(cube: Body, *obstacles: Obstacle, path: list[dict]):
    return check_way("p", "path", cube, legs_of(Table.model_validate({"name": "p", "path": path}), cube), obstacles)


@pytest.mark.parametrize(
    ("length", "outcome"),
    [(19.4, "free"), (19.6, "undecided"), (20.3, "undecided"), (20.7, "blocked"), (60.0, "blocked"), (5.0, "free")],
)
def test_a_wall_30_ahead_with_half_a_millimetre_of_doubt(cube, block, length, outcome):
    """Room is 20: free up to 19.5, blocked for sure once more than 0.5 deep, and also once wholly past it."""
    found = slid(cube, length, block([30, -99, -99], [34, 99, 99], doubt_mm=0.5))
    assert found.outcome == outcome, found.reason


def test_the_gap_is_kept_and_told(cube, block):
    found = slid(cube, 15.0, block([30, -99, -99], [34, 99, 99], gap_mm=4.9))
    assert found.outcome is Outcome.FREE
    assert found.spot.clearance.lower == pytest.approx(5.0, abs=ROUGH_MM)
    assert "block" in found.reason
    assert slid(cube, 15.0, block([30, -99, -99], [34, 99, 99], gap_mm=5.1)).outcome is Outcome.BLOCKED


def test_a_thing_slid_right_over_is_met(cube, block):
    """A small thing wholly inside the part half way and outside at both ends."""
    found = slid(cube, 100.0, block([45, -2, -2], [49, 2, 2]))
    assert found.outcome is Outcome.BLOCKED


def test_scan_points_count_and_their_spacing_only_against_freedom(cube):
    wall = np.array([[30.0, y, z] for y in range(-20, 21, 5) for z in range(-20, 21, 5)])
    assert slid(cube, 15.0, Obstacle(name="scan", solid=wall, spacing_mm=4.9)).outcome is Outcome.FREE
    assert slid(cube, 15.0, Obstacle(name="scan", solid=wall, spacing_mm=5.1)).outcome is Outcome.UNDECIDED
    assert slid(cube, 25.0, Obstacle(name="scan", solid=wall)).outcome is Outcome.BLOCKED
    assert slid(cube, 25.0, Obstacle(name="scan", solid=wall, firm=False)).outcome is Outcome.UNDECIDED


def test_turned_by_45_degrees_a_cube_is_as_wide_as_its_diagonal(cube, block):
    """Corners reach sqrt(2) x 10 = 14.142 on the way."""
    turn = [{"turn": {"axis": (0.0, 0.0, 1.0), "degrees": 90.0}}]
    reach = SIDE * np.sqrt(2)
    assert walked(cube, block([reach + 0.05, -9, -9], [30, 9, 9]), path=turn).outcome is Outcome.FREE
    assert walked(cube, block([reach - 0.05, -9, -9], [30, 9, 9]), path=turn).outcome is Outcome.BLOCKED


def test_steps_follow_each_other_and_turn_about_the_part_as_it_stands(cube, block):
    """Shifted by 100, then turned about its own middle: nothing goes back to where it was."""
    path = [{"shift": (100.0, 0.0, 0.0)}, {"turn": {"axis": (0.0, 0.0, 1.0), "degrees": 45.0}}]
    reach = SIDE * np.sqrt(2)
    assert walked(cube, block([100 + reach + 0.1, -9, -9], [130, 9, 9]), path=path).outcome is Outcome.FREE
    found = walked(cube, block([100 + reach - 0.1, -9, -9], [130, 9, 9]), path=path)
    assert found.outcome is Outcome.BLOCKED
    assert "step 2" in found.reason


@pytest.mark.parametrize("seed", range(6))
def test_a_screwing_leg_agrees_with_dense_poses(seed):
    """Shift and turn at once past a random obstacle: never free where a sampled pose is short, seldom unsure."""
    rng = np.random.default_rng(seed)
    shape = trimesh.convex.convex_hull(rng.normal(size=(10, 3)) * 8)
    body = Body(mesh=Mesh(np.asarray(shape.vertices), np.asarray(shape.faces, np.int64)))
    leg = Leg(
        shift=rng.normal(size=3) * 25, point=rng.normal(size=3) * 5, direction=np.array([0.0, 0.6, 0.8]),
        angle_rad=float(rng.uniform(-1.5, 1.5)),
    )  # fmt: skip
    points = rng.normal(size=(6, 3)) * 10 + leg.shift / 2 + 20 * np.array([1.0, 0, 0])
    soup = body.mesh.triangles
    least = min(signed(soup, leg.pose(t).inverse().apply(points)).min() for t in np.linspace(0, 1, 801))
    step = (np.linalg.norm(leg.shift) + 60 * abs(leg.angle_rad)) / 1600
    free, _ = along(body, leg, Obstacle(name="o", solid=points, gap_mm=max(least, 0.3) - step - 0.1))
    short, _ = along(body, leg, Obstacle(name="o", solid=points, gap_mm=max(least, 0.0) + step + 0.1))
    if least > 0.5:
        assert free is Outcome.FREE
    assert short is Outcome.BLOCKED


def test_a_leg_ends_where_it_says():
    leg = Leg(
        shift=np.array([5.0, 0, 0]), point=np.array([1.0, 0, 0]), direction=np.array([0, 0, 1.0]), angle_rad=np.pi / 2
    )
    assert leg.pose(1.0).apply([2.0, 0, 0]) == pytest.approx([6, 1, 0])
    pose, _ = leg.motion(0.5, 0.5).poses(leg.motion(0.5, 0.5).state(np.array([np.pi / 4]), np.zeros(0)))
    assert np.allclose(pose.matrix, leg.pose(0.5).matrix)


def test_what_is_said_to_be_kept_is_kept_by_what_lies_beside_the_box_as_well():
    """A wedge: a point in its box is 14.14 from its slope, one 12 above its top outside the box is nearer."""
    corners = np.array([[x, y, z] for y in (0, 40) for x, z in ((0, 0), (40, 0), (0, 40))], float)
    hull = trimesh.convex.convex_hull(corners)
    wedge = Body(mesh=Mesh(np.asarray(hull.vertices), np.asarray(hull.faces, np.int64)))
    points = np.array([[30.0, 20, 30], [-0.0, 20, 52]])
    _, spot = along(wedge, STILL, Obstacle(name="o", solid=points, gap_mm=0.5))
    assert signed(wedge.mesh.triangles, points) == pytest.approx([10 * np.sqrt(2), 12.0])
    assert spot.clearance.lower <= 12.0
