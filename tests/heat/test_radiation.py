"""Exchange between surfaces and through shields against textbook examples.

The books use sigma = 5.67e-8; to compare with what they print that is put to the constant's own value.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.constants import physical_constants

from clearance.heat.radiation import SIGMA, Face, black_body, exchange, temperature_of, through_shields

BOOK = SIGMA / 5.67e-8


def test_sigma_is_codatas():
    assert physical_constants["Stefan-Boltzmann constant"][0] == SIGMA == pytest.approx(5.670374419e-8, rel=1e-9)


@pytest.mark.parametrize(
    ("kelvin", "watts"),
    [(300, 459.300), (500, 3543.98), (1000, 56703.74), (673.15, 11642.8), (873.15, 32958.5), (1173.15, 107405.4)],
)
def test_black_body(kelvin, watts):
    """sigma T⁴ worked out with CODATA's sigma."""
    assert float(black_body(kelvin)) == pytest.approx(watts, rel=1e-5)
    assert float(temperature_of(watts)) == pytest.approx(kelvin, rel=1e-5)


def test_concentric_tubes_with_a_shield():
    """Incropera and DeWitt, 4th ed., example 13.5: 0.50 W/m without, 0.25 W/m with, half as much."""
    inner, outer = Face(emissivity=0.02, area_m2=np.pi * 0.020), Face(emissivity=0.05, area_m2=np.pi * 0.050)
    sheet = Face(emissivity=0.02, area_m2=np.pi * 0.035)
    bare, _ = through_shields(77.0, 300.0, inner, outer)
    shielded, _ = through_shields(77.0, 300.0, inner, outer, [(sheet, sheet)])
    assert bare / BOOK == pytest.approx(-0.49881, rel=1e-4)
    assert shielded / BOOK == pytest.approx(-0.25165, rel=1e-4)
    assert shielded / bare - 1 == pytest.approx(-0.4955, abs=1e-4)


def test_parallel_plates_with_a_shield():
    """Çengel, examples 13-7 and 13-11: 3625 W/m² bare, 806 W/m² behind a sheet of 0.1 on both sides."""
    hot, cold, sheet = Face(emissivity=0.2), Face(emissivity=0.7), Face(emissivity=0.1)
    assert through_shields(800.0, 500.0, hot, cold)[0] / BOOK == pytest.approx(3625.4, rel=1e-4)
    heat, (between,) = through_shields(800.0, 500.0, hot, cold, [(sheet, sheet)])
    assert heat / BOOK == pytest.approx(805.6, rel=1e-4)
    assert between == pytest.approx(677.5, abs=0.1)


@pytest.mark.parametrize("count", [1, 2, 5])
def test_alike_shields_leave_one_part_in_n_plus_one(count):
    plate = Face(emissivity=0.8)
    bare, _ = through_shields(1000.0, 300.0, plate, plate)
    heat, sheets = through_shields(1000.0, 300.0, plate, plate, [(plate, plate)] * count)
    assert bare == pytest.approx(37496.3, rel=1e-5)
    assert heat == pytest.approx(bare / (count + 1), rel=1e-12)
    if count == 1:
        assert sheets[0] == pytest.approx(842.594, abs=1e-3)


def test_a_pair_in_an_enclosure_of_its_own():
    """With view factor 1 the two-surface network is that of nested shells; and it is reciprocal."""
    small, large = Face(emissivity=0.3, area_m2=0.5), Face(emissivity=0.6, area_m2=2.0)
    there = exchange(900.0, 400.0, small, large, 1.0)
    assert there == pytest.approx(through_shields(900.0, 400.0, small, large)[0])
    assert exchange(400.0, 900.0, large, small, 0.25) == pytest.approx(-there)


def test_som_example_11_6():
    """S. K. Som: 1.5 x 3 m black plates 3 m apart at 400 and 600 K; with the exact view factor 3095.5 W."""
    plate = Face(emissivity=1.0, area_m2=4.5)
    assert exchange(400.0, 600.0, plate, plate, 0.116654) / BOOK == pytest.approx(-3095.5, rel=1e-4)


@pytest.mark.parametrize("emissivity", [0.0, -0.1, 1.01])
def test_no_such_emissivity(emissivity):
    with pytest.raises(ValueError, match="emissivity"):
        Face(emissivity=emissivity)
