"""Convection in air along surfaces: Nusselt numbers with their ranges. Narrow gaps are in `cavity`.

Each correlation is refused beyond the range its source gives it. "Incropera" is Incropera and DeWitt,
Fundamentals of Heat and Mass Transfer, chapters 7 and 9.
"""

from __future__ import annotations

import numpy as np
from scipy.constants import g

from clearance.frames import Array
from clearance.heat.air import Air

Number = Array | float


def rayleigh(air: Air, difference_K: Number, length_m: Number) -> Array:
    """Return g beta dT L³ / (nu alpha); `difference_K` counts by its size."""
    number: Array = g * air.expansion * np.abs(difference_K) * length_m**3 / (air.viscosity * air.diffusivity)
    return number


def reynolds(air: Air, speed_m_s: Number, length_m: Number) -> Array:
    """Return u L / nu."""
    number: Array = np.asarray(speed_m_s * length_m / air.viscosity, dtype=np.float64)
    return number


def vertical_plate(ra: Number, pr: Number) -> Array:
    """Return the mean Nusselt number of a vertical plate.

    Churchill and Chu 1975, doi 10.1016/0017-9310(75)90243-4; Incropera 9.26. Rayleigh number 0.1 to 1e12.
    """
    _within("Rayleigh number of a vertical plate", ra, 0.1, 1e12)
    shape = (1 + (0.492 / np.asarray(pr)) ** (9 / 16)) ** (8 / 27)
    nusselt: Array = (0.825 + 0.387 * np.asarray(ra) ** (1 / 6) / shape) ** 2
    return nusselt


def horizontal_cylinder(ra: Number, pr: Number) -> Array:
    """Return the mean Nusselt number of a long horizontal cylinder, by its diameter.

    Churchill and Chu 1975, doi 10.1016/0017-9310(75)90222-7; Incropera 9.34. Rayleigh number 1e-5 to 1e12.
    """
    _within("Rayleigh number of a horizontal cylinder", ra, 1e-5, 1e12)
    shape = (1 + (0.559 / np.asarray(pr)) ** (9 / 16)) ** (8 / 27)
    nusselt: Array = (0.60 + 0.387 * np.asarray(ra) ** (1 / 6) / shape) ** 2
    return nusselt


def facing_up(ra: Number) -> Array:
    """Return the mean Nusselt number of a hot plate that faces up: 0.54 Ra^1/4, above 1e7 0.15 Ra^1/3.

    Incropera 9.30 and 9.31. Rayleigh number 1e4 to 1e11.
    """
    _within("Rayleigh number of a hot plate facing up", ra, 1e4, 1e11)
    ra = np.asarray(ra)
    return np.where(ra <= 1e7, 0.54 * ra**0.25, 0.15 * ra ** (1 / 3))


def facing_down(ra: Number) -> Array:
    """Return the mean Nusselt number of a hot plate that faces down: 0.27 Ra^1/4.

    Incropera 9.32 (McAdams). Rayleigh number 1e5 to 1e10.
    """
    _within("Rayleigh number of a hot plate facing down", ra, 1e5, 1e10)
    nusselt: Array = 0.27 * np.asarray(ra) ** 0.25
    return nusselt


def forced_plate(re: Number, pr: Number) -> Array:
    """Return the mean Nusselt number of a flat plate along a stream.

    Laminar 0.664 Re^1/2 Pr^1/3 up to Re 5e5 (Incropera 7.30), then mixed (0.037 Re^4/5 - 871) Pr^1/3
    (7.38). Re up to 1e8, Pr 0.6 to 60.
    """
    _within("Reynolds number of a flat plate", re, 0.0, 1e8)
    _within("Prandtl number of a flat plate", pr, 0.6, 60.0)
    re = np.asarray(re)
    turbulent = 0.037 * np.maximum(re, 5e5) ** 0.8 - 871
    nusselt: Array = np.where(re <= 5e5, 0.664 * np.sqrt(re), turbulent) * np.asarray(pr) ** (1 / 3)
    return nusselt


def _within(what: str, value: Number, low: float, high: float) -> None:
    v = np.asarray(value)
    if not ((v >= low) & (v <= high)).all():
        raise ValueError(f"{what} {float(v.min()):.3g} to {float(v.max()):.3g}; known from {low:g} to {high:g}")
