"""A blank between a part and its neighbours: standoff, thickness, clearances, what it stops and what is cut away."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shield_scenes import any_job, away_from, box_of, hot_points, laid_out, lifting, lines_to, wish_of, zone_of

from clearance.scene.mesh import Mesh
from clearance.shield.blank import FORMING_MM, blank
from clearance.shield.surface import joined
from clearance.verdict.result import Verdict

STANDOFF, SHEET, AIR = 10.0, 1.0, 6.0
BLOCK = box_of((-60, -40, 0), (60, 40, 20), longest=8.0)
UNDERSIDE = BLOCK.triangles.mean(axis=1)[:, 2] < 0.1
LIFT = lifting(-3.0, 2.0, (-1.0, 1.0))
GUARD = 1.6449 * FORMING_MM / np.sqrt(3)
"""One-sided 95 % normal quantile times the standard deviation of a rectangle of that half-width (JCGM 100, 106)."""
HEAT = lines_to(BLOCK, hot_points((-30, -20), (30, 20), -100.0), (0.0, 0, 1), LIFT)


def _blank(*zones, wish=None):
    named = {zone.name: 0.0 for zone in zones}
    return blank(laid_out(BLOCK, list(zones), LIFT), any_job(), UNDERSIDE, HEAT, named, wish or wish_of())


def _shape(mesh: Mesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)


def _least_sampled(solid: Mesh, zone: Mesh) -> float:
    """Least distance over poses of the rock, by brute force from samples: an upper bound."""
    samples = trimesh.sample.sample_surface(_shape(solid), 1200, seed=2)[0]
    return min(
        float(away_from(zone, LIFT.pose(roll, lift, 0.0).apply(samples)).min())
        for roll in np.linspace(*LIFT.roll_rad, 3)
        for lift in (-3.0, 2.0)
    )


@pytest.fixture(scope="module")
def over_a_far_floor():
    return _blank(zone_of(box_of((-300, -300, -160), (300, 300, -140))))


@pytest.fixture(scope="module")
def over_a_post():
    post = zone_of(box_of((25, -200, -60), (45, 200, -19)), name="post")
    return _blank(post), post


def test_far_from_everything_nothing_is_lost(over_a_far_floor):
    found = over_a_far_floor
    assert found.fits
    assert found.lost_share == 0.0
    assert found.covered_share > 0.98
    assert found.bare_mm2 < 0.02 * 120 * 80
    assert found.checks[0].guard_mm == pytest.approx(GUARD, rel=1e-3)


def test_it_stands_off_and_is_as_thick_as_asked(over_a_far_floor):
    found = over_a_far_floor
    for panel in found.panels:
        solid = _shape(panel.solid(SHEET))
        assert solid.is_watertight
        assert solid.volume == pytest.approx(SHEET * panel.area_mm2, rel=0.03)
    away = away_from(BLOCK, trimesh.sample.sample_surface(_shape(found.solid), 600, seed=1)[0])
    assert away.min() >= STANDOFF - 0.05
    assert away.min() >= found.to_part_mm - 1e-6
    assert away_from(BLOCK, joined([p.inner for p in found.panels]).vertices).max() == pytest.approx(found.farthest_mm)


def test_what_would_hit_a_zone_is_cut_away_and_the_rest_clears(over_a_post):
    found, post = over_a_post
    # At rest the sheet's outer side is at most 8 mm over the post, at the lowest 5 mm: short of 6 mm.
    assert found.fits
    assert found.checks[0].verdict is Verdict.PASS
    assert found.checks[0].clearance.lower >= AIR + GUARD - 1e-6
    assert _least_sampled(found.solid, post.mesh) >= AIR + GUARD - 0.02
    assert found.lost_share > 0.1
    middle = joined([p.inner for p in found.panels]).triangles.mean(axis=1)
    assert not ((middle[:, 0] > 25) & (middle[:, 0] < 45) & (middle[:, 2] < -9)).any()
    # Not covered is at least the strip over the post, 20 mm of 120 mm, less what a slanting look gets behind the rest.
    assert 0.1 * 9600 < found.bare_mm2 < 0.6 * 9600
    assert found.bare_at[0] == pytest.approx(35.0, abs=12.0)
    assert found.covered_share < 0.95


def test_uncut_it_would_have_hit(over_a_post, over_a_far_floor):
    _, post = over_a_post
    assert _least_sampled(over_a_far_floor.solid, post.mesh) < AIR


def test_with_a_least_standoff_it_is_pressed_in_instead_of_cut(over_a_post):
    """At 4 mm off the part the sheet is 14 mm over the post at rest, 11 mm at the lowest less 0.8 mm of roll: clear."""
    cut, post = over_a_post
    found = _blank(post, wish=wish_of(least=4.0))
    assert found.fits
    assert found.lost_share < 0.3 * cut.lost_share
    assert found.covered_share > cut.covered_share + 0.1
    assert found.to_part_mm >= 4.0 - 0.05
    assert _least_sampled(found.solid, post.mesh) >= AIR + GUARD - 0.02


def test_where_nothing_fits_nothing_is_left():
    found = _blank(zone_of(box_of((-300, -300, -40), (300, 300, -13))))
    above = joined([p.inner for p in found.panels]).vertices[:, 2]
    # Only what stands beside the block, higher up, may be left.
    assert not len(above) or above.min() > -13 + AIR
    assert found.covered_share < 0.1


def test_a_moving_neighbour_keeps_its_own_gap():
    found = _blank(zone_of(box_of((-300, -300, -80), (300, 300, -45)), kind="axle", gap=25.0))
    assert found.checks[0].required_mm == 25.0
    assert found.checks[0].clearance.lower >= 25.0 + GUARD - 1e-6


def test_no_more_pieces_than_asked():
    floor = zone_of(box_of((-300, -300, -160), (300, 300, -140)))
    assert len(_blank(floor, wish=wish_of(pieces=1)).panels) == 1


@pytest.mark.parametrize(
    ("wish", "message"),
    [
        (wish_of(standoff=0.0), "above 0 mm"),
        (wish_of(sheet=0.0), "above 0 mm"),
        (wish_of(least=11.0), "least"),
    ],
)
def test_bad_requests_are_refused(wish, message):
    with pytest.raises(ValueError, match=message):
        _blank(zone_of(box_of((0, 0, -90), (9, 9, -80))), wish=wish)


def test_without_heat_there_is_no_blank():
    nothing = lines_to(BLOCK, hot_points((0, 0), (9, 9), -100.0), (0.0, 0, -1))
    layout = laid_out(BLOCK, [zone_of(box_of((0, 0, -190), (9, 9, -180)))])
    with pytest.raises(ValueError, match="no line of heat"):
        blank(layout, any_job(), UNDERSIDE, nothing, {"wall": 0.0}, wish_of())
