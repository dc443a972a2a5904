"""Lines of sight in scenes scanned from stations by rays in closed form, every hiding place known by construction."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from trial_scene.clear import needs_of, part_of, scan_of
from trial_scene.rays import Bar, Box, Shots, scanned

from clearance.scene.scan import Scan
from clearance.unseen.find import find_unseen
from clearance.unseen.result import Unseen

RAIL, BLACK = 1, 2
FLOOR = Box((-600, -600, -140), (600, 600, -120))
BEAM = Box((-20, -200, -40), (20, 200, 0))
ALL_ROUND = np.array([[500.0, -150, 600], [-350, 350, 650], [100, 500, 550]])
ONE_SIDE = np.array([[600.0, -60, 120], [600, 60, 160]])
GAP_MM, GUARD_MM = 20.0, 1.0
PITCH_MM, NOISE_MM = 2.0, 0.25


def block(low: tuple[float, float, float], high: tuple[float, float, float]) -> trimesh.Trimesh:
    return trimesh.creation.box(bounds=[low, high])


OVER_RAIL = block((-30, -60, 30), (30, 60, 70))
"""Stands 30 mm over the rail, 21 mm is needed."""


def without_hole(shots: Shots, diameter: float, middle: tuple[float, float, float] = (0, 0, 0)) -> Shots:
    """Take away what the rail gave within a ball, else about the middle of its top, as bare bright steel does."""
    kept = ~((shots.body == RAIL) & (np.linalg.norm(shots.points - middle, axis=1) < diameter / 2))
    return Shots(shots.points[kept], shots.station[kept], shots.body[kept])


def looked(shots: Shots, part: trimesh.Trimesh, stations: np.ndarray | None, apart: bool = False) -> tuple[Unseen, ...]:
    scan: Scan = scan_of(shots)
    needs = needs_of(scan, shots.body, [RAIL], GAP_MM, GUARD_MM)
    file_of = shots.station if apart else None
    return find_unseen(part_of(part), scan, needs, None, stations=stations, file_of=file_of)


@pytest.fixture(scope="module")
def rail() -> Shots:
    rng = np.random.default_rng(3)
    return scanned([FLOOR, BEAM], ALL_ROUND, np.zeros(3), 130.0, PITCH_MM, rng, NOISE_MM, strays=0.005)


@pytest.mark.parametrize("apart", [False, True])
def test_a_whole_rail_with_strays_and_its_shadow_on_the_floor_hides_nothing(rail, apart):
    assert (rail.body == -1).sum() > 50, "the scene has no strays"
    assert looked(rail, OVER_RAIL, ALL_ROUND, apart) == ()


def test_a_whole_rail_hides_nothing_where_no_station_is_known(rail):
    assert looked(rail, OVER_RAIL, None) == ()


@pytest.mark.parametrize("apart", [False, True])
@pytest.mark.parametrize("diameter", [10.0, 20.0, 40.0, 80.0])
def test_a_hole_over_the_rail_is_found(rail, diameter, apart):
    spots = looked(without_hole(rail, diameter), OVER_RAIL, ALL_ROUND, apart)
    assert spots, "a hole that nobody saw into passed"
    assert spots[0].zone == "rail"
    assert np.linalg.norm(spots[0].centre[:2]) < diameter / 2 + PITCH_MM  # within the hole, to one pitch


@pytest.mark.parametrize("diameter", [20.0, 40.0])
def test_a_notch_in_the_edge_of_the_rail_is_found(rail, diameter):
    spots = looked(without_hole(rail, diameter, (20, 10, 0)), OVER_RAIL, ALL_ROUND)
    assert spots
    assert np.linalg.norm(spots[0].centre - (20, 10, 0)) < diameter / 2 + PITCH_MM


@pytest.fixture(scope="module")
def behind_post() -> Shots:
    """A post 60 mm across between the stations and the part; a wall behind gives returns all about its shadow."""
    bodies = [FLOOR, BEAM, Bar((150, 0, -120), (150, 0, 300), 30.0), Box((-260, -600, -120), (-250, 600, 300))]
    return scanned(bodies, ONE_SIDE, np.array([0.0, 0, 50]), 220.0, PITCH_MM, np.random.default_rng(5), NOISE_MM)


IN_SHADOW = block((-40, -20, 60), (0, 20, 100))
"""Stands clear of everything, in the shadow that the post throws for both stations."""
IN_LIGHT = block((-40, 110, 60), (0, 150, 100))
"""The same beside the shadow: within 21 mm of it neither station is kept from any |y| > 75 mm by the post."""


@pytest.mark.parametrize("apart", [False, True])
def test_a_blind_place_behind_a_post_is_found(behind_post, apart):
    spots = looked(behind_post, IN_SHADOW, ONE_SIDE, apart)
    assert spots, "a place that no station saw passed"
    low, high = IN_SHADOW.bounds
    assert (spots[0].centre > low - GAP_MM - GUARD_MM).all()
    assert (spots[0].centre < high + GAP_MM + GUARD_MM).all()
    assert spots[0].nearest_mm == 0.0  # the shadow reaches the part itself


@pytest.mark.parametrize("apart", [False, True])
def test_beside_the_post_nothing_hides(behind_post, apart):
    assert looked(behind_post, IN_LIGHT, ONE_SIDE, apart) == ()


def test_a_station_on_the_other_side_lights_the_place_behind_the_post():
    stations = np.vstack([ONE_SIDE, [-220.0, -400, 600], [-220, 400, 600]])
    bodies = [FLOOR, BEAM, Bar((150, 0, -120), (150, 0, 300), 30.0), Box((-260, -600, -120), (-250, 600, 300))]
    shots = scanned(bodies, stations, np.array([0.0, 0, 50]), 220.0, PITCH_MM, np.random.default_rng(6), NOISE_MM)
    assert looked(shots, IN_SHADOW, stations) == ()
    assert looked(shots, IN_SHADOW, stations, apart=True) == ()


def test_a_black_bracket_that_gives_no_return_is_found_where_each_station_has_its_own_scan():
    bracket = Box((45, -15, -120), (75, 15, 25))  # 16 mm from the part, 21 mm are needed
    shots = scanned([FLOOR, BEAM, bracket], ALL_ROUND, np.zeros(3), 160.0, PITCH_MM, np.random.default_rng(7), NOISE_MM)
    seen = shots.body != BLACK
    shots = Shots(shots.points[seen], shots.station[seen], shots.body[seen])
    spots = looked(shots, OVER_RAIL, ALL_ROUND, apart=True)
    assert spots, "a bracket that swallowed every ray passed"
    assert any((spot.centre > (30, -25, 0)).all() and (spot.centre < (85, 25, 45)).all() for spot in spots)


FLAT_ON = np.array([[60.0, -150, 600], [-350, 350, 650], [40, -200, 500], [-100, -300, 600]])
"""Seen from these the side of the rail at x = 20 lies too flat to give anything back."""
BESIDE_RAIL = block((39, -60, -40), (75, 60, 0))
"""Stands 19 mm from that side, 20 mm are required."""


@pytest.mark.parametrize("way", ["none stated", "of one merged scan", "each its own scan"])
def test_a_side_of_the_rail_that_gave_no_station_a_return_is_found(way):
    """Of a merged scan another station's points behind the rail look as if they were seen through its side."""
    bodies = [Box((-600, -600, -340), (600, 600, -320)), BEAM, Box((-260, -600, -120), (-250, 600, 300))]
    shots = scanned(bodies, FLAT_ON, np.zeros(3), 260.0, PITCH_MM, np.random.default_rng(3), NOISE_MM)
    gave = ~((shots.body == RAIL) & (np.abs(shots.points[:, 0] - 20) < 4 * NOISE_MM) & (shots.points[:, 2] < -1.5))
    shots = Shots(shots.points[gave], shots.station[gave], shots.body[gave])
    stations = None if way == "none stated" else FLAT_ON
    assert looked(shots, BESIDE_RAIL, stations, way == "each its own scan"), "a side that nobody saw passed"
