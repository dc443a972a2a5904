"""Smallest gaps against a closed form: a small plate that faces a ball of radius R, F = (R / (R + gap))²."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import Stefan_Boltzmann as SIGMA
from scipy.constants import g
from scipy.optimize import brentq

from clearance.heat.air import air
from clearance.heat.neighbour import Source, looked, placed, temperatures
from clearance.heat.surface_temperature import Surroundings
from clearance.shield.sizing import Mover, hottest_K, mover, smallest_gap

RADIUS, PART_K, AIR_K = 60.0, 800.0, 300.0
STILL = Surroundings(ambient_K=AIR_K)


def _plate(source: Source, gap_mm: float) -> Mover:
    """Points within 0.6 mm of the line through the ball's middle, black, upright."""
    rng = np.random.default_rng(2)
    points = np.array([RADIUS + gap_mm, 0.0, 0.0]) + rng.uniform(-0.3, 0.3, (40, 3)) * [0, 1, 1]
    near = placed(points, np.tile([-1.0, 0.0, 0.0], (40, 1)), source.surface, 1.0)
    return mover(near, temperatures(near, source, STILL, behind=False))


def _closed_form_mm(limit_K: float) -> float:
    """Gap at which F sigma Tp⁴ + (1 - F) sigma Ta⁴ = sigma T⁴ + h (T - Ta) for an upright plate of 20 mm."""
    length, film = 0.02, air((limit_K + AIR_K) / 2)
    nu, alpha = float(film.viscosity), float(film.diffusivity)
    ra = g / ((limit_K + AIR_K) / 2) * (limit_K - AIR_K) * length**3 / (nu * alpha)
    nusselt = (0.825 + 0.387 * ra ** (1 / 6) / (1 + (0.492 * alpha / nu) ** (9 / 16)) ** (8 / 27)) ** 2
    lost = SIGMA * (limit_K**4 - AIR_K**4) + nusselt * float(film.conductivity) / length * (limit_K - AIR_K)
    factor = lost / (SIGMA * (PART_K**4 - AIR_K**4))
    return float(brentq(lambda gap: (RADIUS / (RADIUS + gap)) ** 2 - factor, 0.0, 5000.0))


@pytest.mark.parametrize("limit_K", [360.0, 420.0, 500.0])
@pytest.mark.parametrize("start_mm", [20.0, 150.0])
def test_bare_gap_is_that_of_the_closed_form(source, limit_K, start_mm):
    """The facets shrink the ball by 0.05 mm; a view factor within 0.0035 is worth the rest, more of it far off."""
    found = smallest_gap(_plate(source, start_mm), source, STILL, limit_K, behind=False)
    wanted = _closed_form_mm(limit_K)
    assert found.gap_mm == pytest.approx(wanted, abs=0.6 + 0.0035 / 2 * (RADIUS + wanted) ** 3 / RADIUS**2)


def test_behind_a_sheet_less_is_needed_but_room_for_the_sheet(source):
    plate = _plate(source, 100.0)
    for limit_K in (360.0, 420.0):
        bare = smallest_gap(plate, source, STILL, limit_K, behind=False)
        behind = smallest_gap(plate, source, STILL, limit_K, behind=True)
        assert 11.0 <= behind.gap_mm < bare.gap_mm


def test_moving_air_needs_less(source):
    plate = _plate(source, 100.0)
    moving = Surroundings(ambient_K=AIR_K, speed_m_s=10.0)
    still = smallest_gap(plate, source, STILL, 400.0, behind=False).gap_mm
    assert smallest_gap(plate, source, moving, 400.0, behind=False).gap_mm < still


def test_no_gap_is_enough_where_the_air_is_hotter_than_the_limit(source):
    found = smallest_gap(_plate(source, 50.0), source, STILL, AIR_K, behind=True)
    assert found.gap_mm is None
    assert "air itself" in found.why
    assert not found.kept_by(1e6)


def test_no_gap_tried_is_enough_for_a_limit_just_above_the_air(source):
    found = smallest_gap(_plate(source, 50.0), source, STILL, AIR_K + 0.05, behind=False)
    assert found.gap_mm is None
    assert "up to 1000 mm" in found.why


def test_it_may_touch_what_is_no_hotter_than_its_limit(source):
    found = smallest_gap(_plate(source, 50.0), source, STILL, PART_K, behind=False)
    assert found.gap_mm == 0.0
    assert found.kept_by(0.0)


def test_the_hottest_point_of_a_long_wall_is_cooled_as_a_long_wall(source):
    """Of a wall of 0.5 m the hottest points, looked at alone, would be cooled as a small plate: far too well."""
    y, z = (m.ravel() for m in np.meshgrid(np.arange(-250.0, 251, 25), np.arange(-250.0, 251, 25)))
    points = np.column_stack([np.full(len(y), RADIUS + 60), y, z])
    wall = placed(points, np.tile([-1.0, 0.0, 0.0], (len(points), 1)), source.surface, 1.0)
    for behind in (False, True):
        seen = looked(wall, source, behind=behind, rays=8192)
        whole = temperatures(wall, source, STILL, behind=behind, seen=seen)
        assert hottest_K(wall, source, (STILL,), behind=behind)[0] == pytest.approx(float(whole.max()), abs=1.0)
