"""Narrow gaps against worked examples. "Incropera": Incropera and DeWitt, section 9.8."""

from __future__ import annotations

import math

import numpy as np
import pytest

from clearance.heat.air import air
from clearance.heat.cavity import annulus, bridged_mm, gap_coefficient, heated_below, vertical_cavity


def test_shield_about_a_tube():
    """Incropera example 9.5: radii 0.05 and 0.06 m, 120 and 35 °C: Ra 171, k_eff / k 1.14, about 100 W/m.

    Ra to 6 %: by so much do two handbooks' properties of air let it differ; k_eff goes with its fourth root.
    """
    ra, ratio = annulus(0.05, 0.06, 393.15, 308.15)
    assert ra == pytest.approx(171, rel=0.06)
    assert ratio == pytest.approx(1.14, rel=0.02)
    heat = 2 * math.pi * float(air(350.65).conductivity) * ratio * 85 / math.log(1.2)
    assert heat == pytest.approx(100, abs=2)


def test_double_window():
    """Çengel example 9-4: 0.8 m high, 20 mm, Ra 1.05e4: Nu 1.40."""
    assert vertical_cavity(1.05e4, 0.717, 40.0) == pytest.approx(1.40, abs=0.01)


@pytest.mark.parametrize(
    ("ra", "slender", "wanted"),
    [
        (1e6, 1.5, 0.18 * (0.7 * 1e6 / 0.9) ** 0.29),
        (1e6, 5.0, 0.22 * (0.7 * 1e6 / 0.9) ** 0.28 * 5**-0.25),
        (1e6, 20.0, 0.42 * 1e6**0.25 * 0.7**0.012 * 20**-0.3),
        (1e8, 20.0, 0.046 * 1e8 ** (1 / 3)),
        (100.0, 5.0, 1.0),
        (5e3, 20.0, 1.0),
    ],
)
def test_vertical_cavities(ra, slender, wanted):
    """Catton 1978, MacGregor and Emery 1969; Incropera 9.50 to 9.53."""
    assert vertical_cavity(ra, 0.7, slender) == pytest.approx(wanted)


@pytest.mark.parametrize("out_of_range", [
    lambda: vertical_cavity(1e11, 0.7, 5.0), lambda: vertical_cavity(2e9, 0.7, 20.0),
    lambda: vertical_cavity(1e6, 0.7, 50.0), lambda: annulus(0.06, 0.05, 400.0, 300.0),
    lambda: annulus(0.05, 2.0, 900.0, 300.0), lambda: heated_below(2e8),
])  # fmt: skip
def test_out_of_range_is_an_error(out_of_range):
    with pytest.raises(ValueError, match=r"known to|radius"):
        out_of_range()


def test_a_layer_that_does_not_turn_over_only_conducts():
    """Critical Ra 1708 of a layer between walls; 3 mm of air between 650 and 100 °C is far below it."""
    assert float(heated_below(1708.0)) == pytest.approx(1.0, abs=1e-9)
    assert float(gap_coefficient(923.15, 373.15, 3e-3)) == pytest.approx(float(air(648.15).conductivity) / 3e-3)


def test_heated_below_lies_near_measured_and_other_correlations():
    """Globe and Dropkin 1959, 0.069 Ra^1/3 Pr^0.074 from 3e5 on: within 15 %."""
    for ra in (3e5, 1e6, 1e7, 1e8):
        assert float(heated_below(ra)) == pytest.approx(0.069 * ra ** (1 / 3) * 0.7**0.074, rel=0.15)


def test_no_upright_gap_carries_more_than_the_level_one_heated_from_below():
    for ra in np.geomspace(1e4, 1e7, 13):
        assert vertical_cavity(float(ra), 0.7, 20.0) <= float(heated_below(ra))


def test_bridged_gap():
    """A wall at 650 °C, 0.1 m high, in air at 80 °C: 1.71 x 2.71 (Ra / S³ L)^-1/4 with the properties at 365 °C."""
    film = air(638.15)
    per_m4 = 9.80665 / 638.15 * 570 / (float(film.viscosity) * float(film.diffusivity) * 0.1)
    assert bridged_mm(923.15, 353.15, 0.1) == pytest.approx(4634.1 * per_m4**-0.25, rel=1e-4)
    assert 8 < bridged_mm(923.15, 353.15, 0.1) < 16
