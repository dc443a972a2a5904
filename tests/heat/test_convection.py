"""Nusselt numbers against published figures. "Incropera": Incropera and DeWitt, chapter 9, inputs from memory."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.heat.air import Air, air
from clearance.heat.convection import (
    facing_down,
    facing_up,
    forced_plate,
    horizontal_cylinder,
    rayleigh,
    reynolds,
    vertical_plate,
)

BOOK_400_K = Air(*(np.float64(x) for x in (0.0338, 26.4e-6, 38.3e-6, 1 / 400)))
"""Air as the book's example has it."""


@pytest.mark.parametrize(
    ("ra", "pr", "nusselt"),
    [
        (2.63e9 * 0.69, 0.69, 147.16185223770603),
        (1e12, 7.0, 1389.0728802931085),
        (1.0, 0.71, 1.3211667381810492),
    ],
)
def test_vertical_plate(ra, pr, nusselt):
    """Churchill and Chu's formula as a general heat transfer library has it in its documentation and tests."""
    assert float(vertical_plate(ra, pr)) == pytest.approx(nusselt, rel=1e-12)


def test_glass_fire_screen():
    """Incropera example 9.2: 0.71 x 1.02 m at 232 °C in air at 23 °C: Ra 1.813e9, Nu 147, h 7.0, 1060 W."""
    ra = float(rayleigh(BOOK_400_K, 209.0, 0.71))
    assert ra == pytest.approx(1.813e9, rel=1e-3)
    h = float(vertical_plate(ra, 0.690)) * 0.0338 / 0.71
    assert h == pytest.approx(7.0, abs=0.05)
    assert h * 0.71 * 1.02 * 209 == pytest.approx(1060, abs=5)


def test_the_table_of_air_gives_nearly_the_same():
    """Handbooks' viscosity and diffusivity differ by up to 3 % each: Ra by up to 6 %."""
    own = air(400.0)
    assert float(rayleigh(own, 209.0, 0.71)) == pytest.approx(1.813e9, rel=0.06)


def test_steam_pipe():
    """Incropera example 9.4: 0.1 m at 165 °C in air at 23 °C: Ra 5.07e6, Nu 23.1, convection 322 W/m."""
    book = Air(*(np.float64(x) for x in (0.0313, 22.8e-6, 32.8e-6, 1 / 367)))
    ra = float(rayleigh(book, 142.0, 0.1))
    assert ra == pytest.approx(5.073e6, rel=2e-3)
    nusselt = float(horizontal_cylinder(ra, 0.697))
    assert nusselt == pytest.approx(23.09, abs=0.05)
    assert nusselt * 0.0313 / 0.1 * np.pi * 0.1 * 142 == pytest.approx(322.4, rel=0.01)


def test_plates_that_face_up_and_down():
    """0.54 and 0.27 Ra^1/4 at Ra = 1e6; 0.15 Ra^1/3 at 1e9 (McAdams; Incropera 9.30 to 9.32)."""
    assert float(facing_up(1e6)) == pytest.approx(0.54 * 31.6228, rel=1e-5)
    assert float(facing_up(1e9)) == pytest.approx(150.0)
    assert float(facing_down(1e6)) == pytest.approx(0.27 * 31.6228, rel=1e-5)


def test_forced_flow_along_a_plate():
    """Incropera example 7.1: air at 300 °C, 10 m/s, 6 kPa, 0.5 m: Re 9597, Nu 57.4; and the mixed layer at Re 1e6."""
    assert float(forced_plate(9597.0, 0.687)) == pytest.approx(57.4, abs=0.1)
    assert float(forced_plate(1e6, 1.0)) == pytest.approx(0.037 * 10**4.8 - 871)
    assert float(reynolds(BOOK_400_K, 5.0, 0.3)) == pytest.approx(5 * 0.3 / 26.4e-6)


@pytest.mark.parametrize(
    "out_of_range",
    [
        lambda: vertical_plate(2e12, 0.7), lambda: vertical_plate(0.01, 0.7), lambda: horizontal_cylinder(2e12, 0.7),
        lambda: facing_up(9e3), lambda: facing_up(2e11), lambda: facing_down(9e4), lambda: facing_down(2e10),
        lambda: forced_plate(2e8, 0.7), lambda: forced_plate(1e5, 0.01), lambda: vertical_plate(np.nan, 0.7),
    ],
)  # fmt: skip
def test_out_of_range_is_an_error(out_of_range):
    with pytest.raises(ValueError, match="known from"):
        out_of_range()
