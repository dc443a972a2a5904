"""A blank between a part and its neighbours: standoff, thickness, clearances and what is cut away."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shield_scenes import any_job, away_from, box_of, laid_out, lifting, zone_of

from clearance.scene.mesh import Mesh
from clearance.shield.blank import FORMING_MM, blank, thickened
from clearance.shield.offset import NEARER_MM
from clearance.verdict.result import Verdict

STANDOFF, SHEET, MARGIN, AIR = 10.0, 1.0, 8.0, 6.0
BLOCK = box_of((-60, -40, 0), (60, 40, 20), longest=8.0)
UNDERSIDE = BLOCK.triangles.mean(axis=1)[:, 2] < 0.1
LIFT = lifting(-3.0, 2.0, (-1.0, 1.0))
GUARD = 1.6449 * FORMING_MM / np.sqrt(3)
"""One-sided 95 % normal quantile times the standard deviation of a rectangle of that half-width (JCGM 100, 106)."""


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
    floor = zone_of(box_of((-300, -300, -80), (300, 300, -60)))
    return blank(laid_out(BLOCK, [floor], LIFT), any_job(), UNDERSIDE, STANDOFF, SHEET, MARGIN, AIR)


@pytest.fixture(scope="module")
def over_a_post():
    post = zone_of(box_of((25, -200, -60), (45, 200, -19)), name="post")
    return blank(laid_out(BLOCK, [post], LIFT), any_job(), UNDERSIDE, STANDOFF, SHEET, MARGIN, AIR), post


def test_far_from_everything_nothing_is_lost(over_a_far_floor):
    found = over_a_far_floor
    assert found.fits
    assert found.lost_share == 0.0
    assert found.covered_share == 1.0
    assert found.checks[0].guard_mm == pytest.approx(GUARD, rel=1e-3)
    # Lowest corner of the sheet: 3 mm of lift and the roll of a corner at most 80 mm out; 49 mm at rest.
    assert 49 - 3 - 80 * np.sin(np.radians(1)) - 0.1 < found.checks[0].clearance.lower < 49 - 3 - 60 * 0.0174


def test_it_stands_off_and_is_as_thick_as_asked(over_a_far_floor):
    found = over_a_far_floor
    solid = _shape(found.solid)
    assert solid.is_watertight
    samples = trimesh.sample.sample_surface(solid, 1000, seed=1)[0]
    away = away_from(BLOCK, samples)
    assert away.min() >= STANDOFF - NEARER_MM - 1e-6
    assert away.min() >= found.to_part_mm - 1e-6
    assert away.max() <= STANDOFF + SHEET + 0.1
    assert solid.volume == pytest.approx(SHEET * _shape(found.middle).area, rel=0.01)


def test_what_would_hit_a_zone_is_cut_away_and_the_rest_clears(over_a_post):
    found, post = over_a_post
    # At rest the sheet's outer side is at z = -11, 8 mm over the post; at the lowest 5 mm less the roll: short of 6 mm.
    assert found.fits
    assert found.checks[0].verdict is Verdict.PASS
    assert found.checks[0].clearance.lower >= AIR + GUARD - 1e-6
    assert _least_sampled(found.solid, post.mesh) >= AIR + GUARD - 0.02
    # Lost is the strip from where the sheet, 8 mm over the post at rest and at least 4.1 mm at the lowest, comes within
    # 6.95 mm: the post's 20 mm and 5.6 mm to each side. The cut runs along triangles of 2.4 mm, and the need's are
    # of up to 8 mm. The strip is 80 mm long, with the quarter rounds and the margin at its ends, higher up, 127 mm.
    strip = 20 + 2 * np.sqrt((AIR + GUARD) ** 2 - 4.1**2)
    ends = STANDOFF * np.pi / 2 + MARGIN
    assert (strip - 4) * 80 < found.lost_share * found.untrimmed_mm2 < (strip + 4 * 2.4) * (80 + 2 * ends)
    assert (strip - 8) / 120 < 1 - found.covered_share < (strip + 4 * 2.4 + 8) / 120
    middle = found.inner.triangles.mean(axis=1)
    assert not ((middle[:, 0] > 25) & (middle[:, 0] < 45) & (middle[:, 2] < -9)).any()


def test_uncut_it_would_have_hit(over_a_post, over_a_far_floor):
    _, post = over_a_post
    assert _least_sampled(over_a_far_floor.solid, post.mesh) < AIR


def test_where_nothing_fits_nothing_is_left():
    near = zone_of(box_of((-300, -300, -40), (300, 300, -13)))
    found = blank(laid_out(BLOCK, [near], LIFT), any_job(), UNDERSIDE, STANDOFF, SHEET, MARGIN, AIR)
    above = found.inner.vertices[:, 2]
    # Only what stands beside the block, higher up, may be left.
    assert not len(above) or above.min() > -13 + AIR
    assert found.covered_share == 0.0
    assert found.lost_share > 0.5


def test_a_moving_neighbour_keeps_its_own_gap():
    shaft = zone_of(box_of((-300, -300, -80), (300, 300, -45)), kind="axle", gap=25.0)
    found = blank(laid_out(BLOCK, [shaft], LIFT), any_job(), UNDERSIDE, STANDOFF, SHEET, MARGIN, AIR)
    assert found.checks[0].required_mm == 25.0
    assert found.checks[0].clearance.lower >= 25.0 + GUARD - 1e-6


@pytest.mark.parametrize(
    ("standoff", "sheet", "margin", "need", "message"),
    [
        (0.0, 1.0, 5.0, UNDERSIDE, "above 0 mm"),
        (10.0, 1.0, 0.0, UNDERSIDE, "above 0 mm"),
        (10.0, 1.0, 5.0, np.zeros_like(UNDERSIDE), "no triangle"),
    ],
)
def test_bad_requests_are_refused(standoff, sheet, margin, need, message):
    layout = laid_out(BLOCK, [zone_of(box_of((0, 0, -90), (9, 9, -80)))])
    with pytest.raises(ValueError, match=message):
        blank(layout, any_job(), need, standoff, sheet, margin)


def test_thickened_keeps_its_volume():
    plate = box_of((0, 0, 0), (50, 40, 1), longest=5.0)
    top = Mesh(plate.vertices, plate.faces[plate.triangles[:, :, 2].min(axis=1) > 1 - 1e-9])
    solid = _shape(thickened(top, 2.0))
    assert solid.volume == pytest.approx(50 * 40 * 2.0)


def test_a_thin_pin_leaves_a_hole_that_stays_open():
    pin = zone_of(box_of((9, 9, -60), (11, 11, -16)), name="pin")
    found = blank(laid_out(BLOCK, [pin], LIFT), any_job(), UNDERSIDE, STANDOFF, SHEET, MARGIN, AIR)
    assert found.fits
    outline = _shape(found.inner).outline()
    rims = [np.asarray(outline.discrete[k]) for k in range(len(outline.discrete))]
    (hole,) = [rim for rim in rims if np.ptp(rim, axis=0).max() < 60]
    # The pin's tip lies 2 mm below the sheet at the lowest, the roll moves that by less than 0.3 mm: free within
    # sqrt(6.95² - 2.3²) mm of it.
    assert np.linalg.norm(hole[:, :2] - 10, axis=1).min() > np.sqrt((AIR + GUARD) ** 2 - 2.3**2)
    assert found.covered_share > 0.9
