"""Holes and ends of the scan on what moves by itself: plates of known place that stroke or swing towards a part."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from trial_scene.clear import part_of, zone_of

from clearance.motion.pair import PairMotion
from clearance.motion.zone_motion import Stroke, Travel
from clearance.scene.condition import condition
from clearance.unseen.find import find_unseen
from clearance.unseen.reach import FineReach, Reach
from clearance.unseen.result import Needed, Unseen

GAP_MM, NEEDED_MM, PITCH_MM, NOISE_MM = 20.0, 22.0, 1.5, 0.1
UP = np.array([0.0, 0.0, 1.0])


def plate(z: float, hole_mm: float = 0.0) -> np.ndarray:
    x, y = (g.ravel() for g in np.meshgrid(np.arange(-150, 150.1, PITCH_MM), np.arange(-150, 150.1, PITCH_MM)))
    points = np.column_stack([x, y, np.random.default_rng(1).normal(z, NOISE_MM, x.size)])
    return points[np.hypot(x, y) >= hole_mm]


def stroke(to_mm: float) -> PairMotion:
    return PairMotion(stroke=Stroke(direction=UP, range_mm=(0.0, to_mm)))


def found(moving: np.ndarray, motion: PairMotion, still: np.ndarray | None = None, ends=()) -> tuple[Unseen, ...]:
    """Over the points a 40 mm cube about the origin, its underside z = -20, that does not move."""
    points = moving if still is None else np.concatenate([moving, still])
    scan = condition(points, "auto", 0.05)
    own = np.arange(len(points)) < len(moving)
    zones = [zone_of("moving", scan, own, GAP_MM)] + ([] if still is None else [zone_of("still", scan, ~own, GAP_MM)])
    needs = [Needed(zone=zone, needed_mm=NEEDED_MM) for zone in zones]
    motions = {"moving": motion, "still": PairMotion()}
    part = part_of(trimesh.creation.box((40, 40, 40)), "chassis")
    return find_unseen(part, scan, needs, None, ends=ends, motions=motions)


def test_a_hole_that_comes_near_only_with_the_motion_is_found():
    """65 mm under the cube at rest, 25 mm at the end of the stroke; a stud in it may stand 15 mm out."""
    spots = found(plate(-85.0, hole_mm=14), stroke(40.0))
    assert spots
    assert spots[0].zone == "moving"
    assert spots[0].centre == pytest.approx([0, 0, -85], abs=3)
    assert "as this zone moves" in spots[0].advice
    assert found(plate(-85.0, hole_mm=14), stroke(10.0)) == ()


def test_a_hole_in_what_stands_still_does_not_move():
    assert found(plate(-230.0), stroke(100.0), still=plate(-85.0, hole_mm=14)) == ()


def test_an_end_of_the_scan_that_comes_near_only_with_the_motion_is_found():
    half = plate(-85.0)
    half = half[half[:, 0] < -20]
    spots = found(half, stroke(40.0))
    assert spots
    assert -20 < spots[0].centre[0] < -20 + NEEDED_MM + 2
    assert found(half, stroke(5.0)) == ()
    assert found(half, stroke(40.0), ends=[np.array([[-30.0, -200, -100], [-10, 200, -70]])]) == ()


def test_the_reach_of_a_swing_is_a_close_lower_bound():
    """Against the distance of points on circles to a box of half width 20, asked at 20001 angles."""
    point, wide = np.array([-250.0, 0, -150]), np.radians(60.0)
    motion = PairMotion(travel=Travel(point=point, direction=np.array([0.0, 1, 0]), range_rad=(-wide, 0.0)))
    mesh = part_of(trimesh.creation.box((40, 40, 40)), "chassis").mesh
    radius = np.linspace(60, 240, 19)
    places = point + radius[:, None] * [1.0, 0, 0]
    angle = np.linspace(0, wide, 20_001)
    x, z = point[0] + np.outer(radius, np.cos(angle)), point[2] + np.outer(radius, np.sin(angle))
    truth = np.hypot(np.maximum(np.abs(x) - 20, 0), np.maximum(np.abs(z) - 20, 0)).min(axis=1)
    lower = FineReach(mesh, True, motion).lower_mm(places, 1000.0)
    assert (lower <= truth + 1e-6).all()
    assert (lower >= truth - 3.5).all()
    assert (lower >= Reach(mesh, True, motion).lower_mm(places, 1000.0) - 1e-9).all()
