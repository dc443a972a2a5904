"""Heat across narrow gaps of air: conduction, helped by what the air there turns over.

Numbers hold for air. "Incropera" is Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, section 9.8.
"""

from __future__ import annotations

import math

import numpy as np

from clearance.frames import Array
from clearance.heat.air import air
from clearance.heat.convection import Number, rayleigh

HEATED_BELOW_MOST = 1e8


def vertical_cavity(ra: float, pr: float, height_over_width: float) -> float:
    """Return the Nusselt number of a tall gap between vertical walls, by its width.

    Height over width H/L of 1 to 2: 0.18 (Pr Ra / (0.2 + Pr))^0.29; to 10: 0.22 (..)^0.28 (H/L)^-1/4 (Catton
    1978); to 40: 0.42 Ra^1/4 Pr^0.012 (H/L)^-0.3 up to Ra 1e7, above it 0.046 Ra^1/3 (MacGregor and Emery 1969);
    Incropera 9.50 to 9.53. 1, conduction alone, where they give less or Ra lies below their range.

    Raises
    ------
    ValueError
        Ra above 1e10 (1e9 for H/L above 10), or H/L beyond 1 to 40.
    """
    slender = height_over_width > 10
    if not 1 <= height_over_width <= 40 or not 0 <= ra <= (1e9 if slender else 1e10):
        raise ValueError(f"Ra {ra:.3g}, height over width {height_over_width:g}; known to 1e10, for 1 to 40")
    turned = ra * pr / (0.2 + pr)
    if turned < 1e3 or (slender and ra < 1e4):
        return 1.0
    if height_over_width <= 2:
        nusselt = 0.18 * turned**0.29
    elif not slender:
        nusselt = 0.22 * turned**0.28 * height_over_width**-0.25
    elif ra <= 1e7:
        nusselt = 0.42 * ra**0.25 * pr**0.012 * height_over_width**-0.3
    else:
        nusselt = 0.046 * ra ** (1 / 3)
    return max(1.0, float(nusselt))


def annulus(inner_m: float, outer_m: float, inner_K: float, outer_K: float) -> tuple[float, float]:
    """Return Ra, by the length below, and effective over true conductivity between long coaxial cylinders of air.

    k_eff / k = 0.386 (Pr / (0.861 + Pr))^1/4 Ra^1/4, at least 1, with the length 2 ln(ro / ri)^4/3 /
    (ri^-3/5 + ro^-3/5)^5/3; Raithby and Hollands 1975, Incropera 9.58 to 9.60. Radii in m.

    Raises
    ------
    ValueError
        Ra above 1e7, or radii that are not 0 < inner < outer.
    """
    if not 0 < inner_m < outer_m:
        raise ValueError("the outer radius must be above the inner, and that above 0")
    length = 2 * math.log(outer_m / inner_m) ** (4 / 3) / (inner_m**-0.6 + outer_m**-0.6) ** (5 / 3)
    between = air((inner_K + outer_K) / 2)
    ra, pr = float(rayleigh(between, inner_K - outer_K, length)), float(between.prandtl)
    if ra > 1e7:
        raise ValueError(f"Ra {ra:.3g}; known to 1e7")
    return ra, max(1.0, 0.386 * (pr / (0.861 + pr)) ** 0.25 * ra**0.25)


def heated_below(ra: Number) -> Array:
    """Return the Nusselt number of a wide level gap of air heated from below: the most any tilt gives.

    1 + 1.44 [1 - 1708 / Ra]+ + [(Ra / 5830)^1/3 - 1]+ ; Hollands, Raithby and Konicek 1975,
    doi 10.1016/0017-9310(75)90179-9. 1 (conduction) up to Ra 1708. Refused above Ra 1e8.
    """
    ra = np.asarray(ra, dtype=np.float64)
    if not ((ra >= 0) & (ra <= HEATED_BELOW_MOST)).all():
        raise ValueError(f"Ra {float(ra.max()):.3g} of a gap heated from below; known to {HEATED_BELOW_MOST:g}")
    safe = np.maximum(ra, 1.0)
    nusselt: Array = 1 + 1.44 * np.maximum(0, 1 - 1708 / safe) + np.maximum(0, np.cbrt(safe / 5830) - 1)
    return nusselt


def gap_coefficient(hot_K: Number, cold_K: Number, gap_m: Number) -> Array:
    """Return W / (m² K) across a gap of air, as if level and heated from below: no tilt carries more heat."""
    between = air((np.asarray(hot_K) + np.asarray(cold_K)) / 2)
    nusselt = heated_below(rayleigh(between, np.asarray(hot_K) - np.asarray(cold_K), gap_m))
    coefficient: Array = nusselt * between.conductivity / gap_m
    return coefficient


def bridged_mm(hot_K: float, ambient_K: float, length_m: float) -> float:
    """Return the gap, mm, below which the boundary layers of two upright walls meet and air bridges them.

    1.71 times the optimum spacing 2.71 (Ra / (S³ L))^-1/4 of parallel plates; wider apart each has a layer
    of its own (Bar-Cohen and Rohsenow 1984, doi 10.1115/1.3246622; Incropera table 9.3, from memory).
    """
    film = air((hot_K + ambient_K) / 2)
    per_m4 = float(rayleigh(film, hot_K - ambient_K, 1.0)) / length_m
    return 1e3 * 1.71 * 2.71 * per_m4**-0.25 if per_m4 > 0 else math.inf
