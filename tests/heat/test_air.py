"""Properties of air against other sources than the table they come from."""

from __future__ import annotations

import pytest

from clearance.heat.air import air


@pytest.mark.parametrize(
    ("kelvin", "viscosity", "conductivity", "diffusivity", "prandtl"),
    [  # Incropera and DeWitt, table A.4, from memory: 1e-6 m²/s, 1e-3 W/(m K), 1e-6 m²/s
        (300, 15.89, 26.3, 22.5, 0.707), (400, 26.41, 33.8, 38.3, 0.690), (500, 38.79, 40.7, 56.7, 0.684),
        (600, 52.69, 46.9, 76.9, 0.685), (800, 84.93, 57.3, 120.0, 0.709), (1000, 121.9, 66.7, 168.0, 0.726),
    ],
)  # fmt: skip
def test_another_handbook(kelvin, viscosity, conductivity, diffusivity, prandtl):
    """Two handbooks: at 1000 K the other's viscosity lies 2 % above Sutherland's formula, this one's 1 % below it."""
    found = air(kelvin)
    assert float(found.viscosity) * 1e6 == pytest.approx(viscosity, rel=0.035)
    assert float(found.conductivity) * 1e3 == pytest.approx(conductivity, rel=0.04)
    assert float(found.diffusivity) * 1e6 == pytest.approx(diffusivity, rel=0.05)
    assert float(found.prandtl) == pytest.approx(prandtl, rel=0.05)
    assert float(found.expansion) == pytest.approx(1 / kelvin)


@pytest.mark.parametrize("kelvin", [253.15, 300, 450, 600, 873.15, 1173.15])
def test_sutherlands_formula(kelvin):
    """mu = 1.458e-6 T^1.5 / (T + 110.4), US Standard Atmosphere 1976; 3 % off at 900 °C in handbooks too."""
    density = 101_325 / (287.05 * kelvin)
    assert float(air(kelvin).viscosity) * density == pytest.approx(1.458e-6 * kelvin**1.5 / (kelvin + 110.4), rel=0.03)


@pytest.mark.parametrize("kelvin", [200.0, 1300.0, float("nan")])
def test_beyond_the_table_is_an_error(kelvin):
    with pytest.raises(ValueError, match="table covers"):
        air(kelvin)
