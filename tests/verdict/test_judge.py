"""Budget and decision of whole zones against the GUM's and JCGM 106's arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from judging import judged, setting_of

from clearance.bounds import Bound
from clearance.frames import identity
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.rock import rock_from
from clearance.registration.result import Registration
from clearance.verdict.decide import decide_job, decide_zone
from clearance.verdict.fixes import all_fixes, fixes_of
from clearance.verdict.judge import nearest_unclaimed
from clearance.verdict.result import Budget, Verdict

K95 = 1.6448536269514722
"""One-sided 95 % quantile of the normal distribution (any table; JCGM 106:2012, 8.3 uses 1.64)."""


def _budget(u: float, spacing: float = 0.0) -> Budget:
    return Budget(
        registration=u,
        noise=0,
        accuracy=0,
        fit=0,
        spacing=spacing,
        tolerance=0,
        growth=0,
        standard=u,
        guard=K95 * u + spacing,
    )


def test_a_clear_part_exactly_at_its_gap_is_not_told_that_it_interferes(placed):
    found, reason = decide_zone(Bound(5.0 - 1e-9, 5.0), 5.0, _budget(0.0), placed())
    assert found is Verdict.UNDECIDED
    assert "interfere" not in reason
    _, deep = decide_zone(Bound(-7.3, -0.1), 0.0, _budget(0.2), placed())
    assert "interfere too deeply" in deep


@pytest.mark.parametrize(
    ("measured", "verdict"),
    # Required 5.00 mm, u 0.40 mm: accepted from 5.00 + 1.645 x 0.40 = 5.658, rejected up to 4.342.
    [(5.66, "pass"), (5.6, "undecided"), (5.5, "undecided"), (4.35, "undecided"), (4.34, "fail")],
)
def test_guarded_acceptance_and_rejection(placed, measured: float, verdict: str):
    found, reason = decide_zone(Bound(measured, measured), 5.0, _budget(0.40), placed())
    assert found.value == verdict
    assert "5 mm is required" in reason


@given(st.floats(-5, 30), st.floats(0, 1), st.floats(0, 10), st.floats(0, 2), st.floats(0, 3))
def test_pass_needs_every_value_inside_the_bound_and_guard(lower, width, gap, u, spacing):
    sure = Registration(
        method="given",
        T_bay_part=identity("bay", "part"),
        converged=True,
        covariance=np.zeros((6, 6)),
        centre=np.zeros(3),
    )
    verdict, _ = decide_zone(Bound(lower, lower + width), gap, _budget(u, spacing), sure)
    if verdict is Verdict.PASS:
        assert lower - K95 * u - spacing >= gap - 1e-9
    if verdict is Verdict.FAIL:
        assert lower + width + K95 * u < gap + 1e-9
    if lower + width < gap:
        assert verdict is not Verdict.PASS
    if lower >= gap + 1e-9:
        assert verdict is not Verdict.FAIL


def test_unplaced_part_decides_nothing(placed):
    for clearance in (Bound(50, 50), Bound(-5, -5)):
        verdict, reason = decide_zone(clearance, 5.0, _budget(0.0), placed(converged=False))
        assert verdict is Verdict.UNDECIDED
        assert "stud 2" in reason


def test_budget_lines_combine_as_the_gum_says(cube, wall, placed):
    zone, scan = wall(20.0, 5.0, noise=0.3, accuracy=0.4)
    part = replace(cube, tolerance_mm=0.6)
    result = judged(zone, part, placed(sigma_mm=0.5), scan, None)
    # Wall at 20, face at 10.
    assert result.sweep.clearance.contains(10.0)
    # u^2 = 0.5^2 + 0.3^2 + 0.4^2 + 0.6^2 / 3 (rectangular) = 0.62
    assert result.budget.standard == pytest.approx(np.sqrt(0.62), abs=1e-9)
    assert result.budget.guard == pytest.approx(K95 * np.sqrt(0.62), abs=1e-9)
    assert result.verdict is Verdict.PASS


def test_turn_uncertainty_grows_with_the_arm(cube, wall, placed):
    zone, scan = wall(14.0, 3.9)
    result = judged(zone, cube, placed(sigma_rad=0.01), scan, None)
    # A corner of the cube is sqrt(300) mm from the centre; a turn of 0.01 rad about the worst axis moves it by that.
    assert result.budget.registration == pytest.approx(0.01 * np.sqrt(300), rel=1e-6)


def test_spacing_is_taken_in_full(cube, wall, placed):
    zone, scan = wall(16.5, 5.0, spacing=1.2)
    result = judged(zone, cube, placed(), scan, None)
    assert result.budget.spacing == pytest.approx(1.2, abs=0.02)
    assert result.budget.guard == pytest.approx(1.2, abs=0.02)
    assert result.verdict is Verdict.PASS
    nearer, scan = wall(16.0, 5.0, spacing=1.2)
    assert judged(nearer, cube, placed(), scan, None).verdict is Verdict.UNDECIDED


def test_a_coarse_stretch_farther_off_counts_where_it_hides_more(cube, placed, wall):
    zone, scan = wall(16.5, 5.0, spacing=0.5)
    assert zone.points is not None
    assert zone.spacing_mm is not None
    far = np.array([[17.5, 5.0, 5.0]])
    points = np.vstack([zone.points, far])
    spacing = np.append(zone.spacing_mm, np.float32(6.0))
    coarse = replace(zone, points=points, spacing_mm=spacing)
    result = judged(coarse, cube, placed(), scan, None)
    # The sparse point is 7.5 mm off and speaks for 6 mm about it: 1.5 mm may be all there is; 6.5 - 5.0 = 1.5.
    assert result.budget.spacing == pytest.approx(5.0, abs=0.03)
    assert result.verdict is Verdict.UNDECIDED


def test_stray_points_are_shown_not_decided_on(cube, wall, placed):
    zone, scan = wall(20.0, 5.0)
    stray = replace(zone, stray_points=np.array([[12.0, 0.0, 0.0]]))
    result = judged(stray, cube, placed(), scan, None)
    assert result.verdict is Verdict.PASS
    assert result.nearest_raw_point_mm == pytest.approx(2.0, abs=1e-6)


def test_stray_points_inside_the_part_are_told_as_interference(cube, wall, placed):
    zone, scan = wall(40.0, 5.0)
    rock = rock_from(
        point=np.array([0, 0, -100.0]), direction=np.array([0, 1.0, 0]), up=np.array([0, 0, 1.0]),
        forward=np.array([1.0, 0, 0]), roll_deg=(-2, 2), lift_mm=(-1, 1), shift_mm=(0, 0),
    )  # fmt: skip
    inside = replace(zone, stray_points=np.array([[0.0, 0, 0], [7.0, 2, 1], [400.0, 0, 0]]))
    result = judged(inside, cube, placed(), scan, rock)
    # At the middle of the motion the deepest one is the cube's centre, 10 mm below every face.
    assert result.nearest_raw_point_mm == pytest.approx(-10.0, abs=1e-9)
    assert result.verdict is Verdict.PASS


def test_strays_in_company_keep_a_zone_from_passing(cube, wall, placed):
    zone, scan = wall(40.0, 5.0)
    wire = np.array([[14.0, y, 0.0] for y in (-9.0, -1.0, 7.0)])
    alone = np.array([[14.0, -25, 0], [14, 0, 0], [14, 25, 0]])
    together = judged(replace(zone, stray_points=wire), cube, placed(), scan, None)
    assert together.verdict is Verdict.UNDECIDED
    assert "stand together and come within 4.0 mm" in together.reason
    assert judged(replace(zone, stray_points=alone), cube, placed(), scan, None).verdict is Verdict.PASS
    far = judged(replace(zone, stray_points=wire + np.array([9, 0, 0])), cube, placed(), scan, None)
    assert far.verdict is Verdict.PASS


def test_rest_passes_where_roll_fails(cube, wall, placed):
    zone, scan = wall(16.0, 5.0)
    rock = rock_from(
        point=np.array([0, 0, -100.0]), direction=np.array([0, 1.0, 0]), up=np.array([0, 0, 1.0]),
        forward=np.array([1.0, 0, 0]), roll_deg=(-2, 2), lift_mm=(0, 0), shift_mm=(0, 0),
    )  # fmt: skip
    result = judged(zone, cube, placed(), scan, rock)
    assert result.at_rest_mm.lower >= 5.0
    # Right-handed roll about +y moves +z to +x: x' = x cos a + (z + 100) sin a at the top edge x = 10, z = 10.
    a = np.radians(2)
    top = 10 * np.cos(a) + 110 * np.sin(a)
    assert result.sweep.clearance.lower == pytest.approx(16 - top, abs=0.03)
    assert result.verdict is Verdict.FAIL
    assert np.degrees(result.sweep.worst.roll_rad or 0) == pytest.approx(2, abs=0.01)
    (fix,) = fixes_of(result, cube.mesh, PairMotion(rock=rock, turned="part"))
    # The scan points stand 1 mm apart, which tilts the direction to the nearest one a little.
    assert fix.short_mm == pytest.approx(5 - (16 - top), abs=0.03)
    assert fix.direction @ (-np.cos(a), 0, np.sin(-a)) > 0.98
    assert (
        all_fixes([result], {"wall": pair_motion("engine", "chassis", rock)}, setting_of(cube, placed(), scan, rock))[
            0
        ].zone
        == "wall"
    )


def test_two_patches_are_two_fixes(cube, placed, wall):
    zone, scan = wall(0.0, 3.0)
    both = replace(
        zone,
        points=np.array([[12.0, 0, 0], [-11.0, 0, 0]]),
        spacing_mm=np.zeros(2, np.float32),
    )
    result = judged(both, cube, placed(), scan, None)
    fixes = fixes_of(result, cube.mesh, PairMotion())
    assert [round(f.short_mm, 2) for f in fixes] == [2.01, 1.01] or [round(f.short_mm, 1) for f in fixes] == [2.0, 1.0]
    assert fixes[0].direction @ (1, 0, 0) == pytest.approx(1, abs=1e-6)
    assert fixes[1].direction @ (-1, 0, 0) == pytest.approx(1, abs=1e-6)
    # 3 mm about the foot of each point, on vertices 2.5 mm apart: a few mm2 to a few dozen.
    assert all(3 < f.area_mm2 < 100 for f in fixes)


def test_points_of_no_zone_keep_a_job_from_passing(cube, wall, placed):
    zone, scan = wall(20.0, 5.0)
    result = judged(zone, cube, placed(), scan, None)
    near = nearest_unclaimed(np.array([[0, 0, 14.0]]), setting_of(cube, placed(), scan, None), [result])
    assert near == pytest.approx(4.0, abs=0.5)
    verdict, reason = decide_job([result], placed(), near)
    assert verdict is Verdict.UNDECIDED
    assert "no zone" in reason
    assert nearest_unclaimed(np.array([[0, 0, 40.0]]), setting_of(cube, placed(), scan, None), [result]) is None
    assert decide_job([result], placed(), None)[0] is Verdict.PASS


def test_the_worst_zone_speaks_for_the_job(cube, wall, placed):
    good = judged(*_of(wall(20.0, 5.0), cube, placed))
    bad = judged(*_of(wall(12.0, 5.0), cube, placed))
    unsure = replace(good, verdict=Verdict.UNDECIDED)
    assert decide_job([good, unsure, bad], placed(), None)[0] is Verdict.FAIL
    assert decide_job([good, unsure], placed(), None)[0] is Verdict.UNDECIDED
    assert decide_job([good], placed(converged=False), None)[0] is Verdict.UNDECIDED


def _of(zone_and_scan, cube, placed):
    zone, scan = zone_and_scan
    return zone, cube, placed(), scan, None


def test_a_pass_far_from_everything_asks_whether_the_units_are_right(cube, wall, placed):
    far = judged(*_of(wall(250.0, 5.0), cube, placed))
    verdict, reason = decide_job([far], placed(), None)
    assert verdict is Verdict.PASS
    assert "units right?" in reason
    near = judged(*_of(wall(20.0, 5.0), cube, placed))
    assert "units" not in decide_job([near], placed(), None)[1]


def test_points_of_no_zone_are_moved_against_a_part_on_the_chassis(cube, wall, placed):
    zone, scan = wall(40.0, 5.0)
    result = judged(zone, cube, placed(), scan, None)
    rock = rock_from(
        point=np.zeros(3), direction=np.array([0, 1.0, 0]), up=np.array([0, 0, 1.0]),
        forward=np.array([1.0, 0, 0]), roll_deg=(0, 0), lift_mm=(0, 0), shift_mm=(-4, 0),
    )  # fmt: skip
    standing = replace(cube, rides="chassis")
    # 7 mm off at rest; a point on the engine comes 4 mm nearer.
    assert nearest_unclaimed(
        np.array([[17.0, 0, 0]]), setting_of(standing, placed(), scan, rock), [result]
    ) == pytest.approx(3.0, abs=0.5)
