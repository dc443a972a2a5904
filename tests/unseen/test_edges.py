"""Scans that end under a part, planes and tubes of known place, and random holes over the edges of a rail."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from trial_scene.clear import part_of, zone_of
from trial_scene.rail import rail_scene

from clearance.scene.condition import condition
from clearance.unseen.find import find_unseen
from clearance.unseen.result import Needed, Unseen

GAP_MM, NEEDED_MM, PITCH_MM, NOISE_MM = 20.0, 22.0, 1.5, 0.1


def plate(z: float) -> np.ndarray:
    x, y = (g.ravel() for g in np.meshgrid(np.arange(-150, 150.1, PITCH_MM), np.arange(-150, 150.1, PITCH_MM)))
    return np.column_stack([x, y, np.random.default_rng(1).normal(z, NOISE_MM, x.size)])


def half_of_a_tube(radius: float, top: float, towards_rad: float) -> np.ndarray:
    """Points of half a tube along y, the half whose middle looks up or, a quarter turn on, to the side."""
    turn = np.arange(-np.pi / 2, np.pi / 2, PITCH_MM / radius) + towards_rad
    y, a = np.meshgrid(np.arange(-150, 150.1, PITCH_MM), turn)
    r = radius + np.random.default_rng(2).normal(0, NOISE_MM, a.size)
    return np.column_stack([r * np.sin(a.ravel()), y.ravel(), top - radius + r * np.cos(a.ravel())])


def found(points: np.ndarray, ends: list[np.ndarray] | None = None) -> tuple[Unseen, ...]:
    """A 40 mm cube about the origin over the points."""
    scan = condition(points, "auto", 0.05)
    zone = zone_of("plate", scan, np.ones(len(points), bool), GAP_MM)
    part = part_of(trimesh.creation.box((40, 40, 40)), "chassis")
    return find_unseen(part, scan, [Needed(zone=zone, needed_mm=NEEDED_MM)], None, ends=ends or [])


def test_a_plate_whose_scan_ends_under_the_part_is_found():
    points = plate(-45.0)
    spots = found(points[points[:, 0] < -20])
    assert spots, "half a plate passed"
    # On the plane of the plate, beyond its edge x = -20, by no more than what is needed and a step.
    assert -20 < spots[0].centre[0] < -20 + NEEDED_MM + 2
    assert spots[0].centre[2] == pytest.approx(-45, abs=5)
    assert "bay.ends" in spots[0].advice


def test_the_same_plate_is_taken_to_end_where_the_job_says_so():
    points = plate(-45.0)
    half = points[points[:, 0] < -20]
    assert found(half, [np.array([[-30.0, -200, -60], [-10, 200, -30]])]) == ()
    elsewhere = [np.array([[-30.0, 100, -60], [-10, 200, -30]])]
    assert found(half, elsewhere), "an end told of far from the part took back what lies under it"


def test_a_plate_that_ends_farther_off_than_needed_hides_nothing():
    points = plate(-45.0)
    # 40 mm and what may stand 15 mm out of it: the edge is 40 mm beside the part, so nothing comes within 22 mm.
    assert found(points[points[:, 0] < -20 - 2 * NEEDED_MM - 15]) == ()
    assert found(plate(-45.0)) == ()


def test_floor_seen_beyond_an_edge_shows_that_the_plate_ends_there():
    upper, floor = plate(-45.0), plate(-120.0)
    assert found(np.concatenate([upper[upper[:, 0] < -20], floor])) == ()


def test_floor_seen_through_no_more_than_the_shadow_is_not_enough():
    upper, floor = plate(-45.0), plate(-120.0)
    # No line of sight within 45 degrees of the plate's normal leads past x = -20 + 22 to the floor's x > 120.
    assert found(np.concatenate([upper[upper[:, 0] < -20], floor[floor[:, 0] > 120]]))


@pytest.mark.parametrize("towards", [0.0, np.pi / 2], ids=["from above", "from the side"])
@pytest.mark.parametrize("radius", [8.0, 20.0])
def test_the_unseen_back_of_a_tube_is_not_called_an_edge(radius, towards):
    assert found(half_of_a_tube(radius, -20 - NEEDED_MM - 3.0, towards)) == ()


@pytest.mark.parametrize("width", [10.0, 20.0, 40.0, 80.0])
def test_no_hole_at_a_random_place_of_a_rail_is_missed(width):
    for number in range(2):
        scene = rail_scene(width, np.random.default_rng([5, int(width), number]), by_spacing=False)
        if scene is not None:
            assert find_unseen(scene.part, scene.scan, scene.needs, None), f"hole at {scene.place} passed"
