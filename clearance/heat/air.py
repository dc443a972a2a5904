"""Air at one atmosphere: what convection and narrow gaps need of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.constants import R

from clearance.frames import Array

PRESSURE_PA = 101_325.0
GAS_J_PER_KG_K = R / 0.0289647
"""Gas constant of dry air: molar gas constant over a molar mass of 28.9647 g/mol."""

_C = (-40, -20, 0, 20, 40, 60, 80, 100, 120, 140, 160, 180, 200, 250, 300, 350, 400, 450, 500, 600, 700, 800, 900, 1000)
_CONDUCTIVITY = (
    0.02057, 0.02211, 0.02364, 0.02514, 0.02662, 0.02808, 0.02953, 0.03095, 0.03235, 0.03374, 0.03511, 0.03646,
    0.03779, 0.04104, 0.04418, 0.04721, 0.05015, 0.05298, 0.05572, 0.06093, 0.06581, 0.07037, 0.07465, 0.07868,
)  # fmt: skip
_VISCOSITY = (
    1.527, 1.630, 1.729, 1.825, 1.918, 2.008, 2.096, 2.181, 2.264, 2.345, 2.420, 2.504,
    2.577, 2.760, 2.934, 3.101, 3.261, 3.415, 3.563, 3.846, 4.111, 4.362, 4.600, 4.826,
)  # fmt: skip
_HEAT = (
    1002, 1005, 1006, 1007, 1007, 1007, 1008, 1009, 1011, 1013, 1016, 1019,
    1023, 1033, 1044, 1056, 1069, 1081, 1093, 1115, 1135, 1153, 1169, 1184,
)  # fmt: skip
_K = np.array(_C, dtype=np.float64) + 273.15

RANGE_K = (float(_K[0]), float(_K[-1]))


@dataclass(frozen=True, eq=False)
class Air:
    """Properties at one or many temperatures, each (n,) or a scalar.

    Attributes
    ----------
    conductivity : W / (m K)
    viscosity : m² / s, kinematic
    diffusivity : m² / s, thermal
    expansion : 1 / K, volumetric, of an ideal gas: 1 / T
    """

    conductivity: Array
    viscosity: Array
    diffusivity: Array
    expansion: Array

    @property
    def prandtl(self) -> Array:
        """Kinematic viscosity over thermal diffusivity."""
        return self.viscosity / self.diffusivity


def air(temperature_K: Array | float) -> Air:
    """Return dry air at 1 atm.

    Conductivity, dynamic viscosity and heat capacity are linear between the rows of a table (Çengel,
    Heat Transfer, table A-15; viscosity above 140 °C from memory), density is an ideal gas's.

    Raises
    ------
    ValueError
        Beyond -40 to 1000 °C, which the table covers.
    """
    t = np.asarray(temperature_K, dtype=np.float64)
    if not ((t >= RANGE_K[0]) & (t <= RANGE_K[1])).all():
        raise ValueError(f"air at {float(np.min(t)):.0f} to {float(np.max(t)):.0f} K; its table covers 233 to 1273 K")
    density = PRESSURE_PA / (GAS_J_PER_KG_K * t)
    conductivity = np.interp(t, _K, _CONDUCTIVITY)
    return Air(
        conductivity=conductivity,
        viscosity=np.interp(t, _K, _VISCOSITY) * 1e-5 / density,
        diffusivity=conductivity / (density * np.interp(t, _K, _HEAT)),
        expansion=1.0 / t,
    )
