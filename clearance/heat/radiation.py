"""Radiation between diffuse grey surfaces, and what shields between them leave of it. Temperatures K.

Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, section 13.3 (13.2 in later editions).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.constants import Stefan_Boltzmann

from clearance.frames import Array

SIGMA = Stefan_Boltzmann
"""W / (m² K⁴), CODATA."""


def black_body(temperature_K: Array | float) -> Array:
    """Return the emissive power of a black surface, sigma T⁴, W/m²."""
    power: Array = SIGMA * np.asarray(temperature_K, dtype=np.float64) ** 4
    return power


def temperature_of(power_W_m2: Array | float) -> Array:
    """Return the temperature, K, at which a black surface emits this, W/m²."""
    temperature: Array = (np.asarray(power_W_m2, dtype=np.float64) / SIGMA) ** 0.25
    return temperature


@dataclass(frozen=True, kw_only=True)
class Face:
    """One side of a surface: its emissivity, above 0 to 1, and area, m² (1 where everything is per m²)."""

    emissivity: float
    area_m2: float = 1.0

    def __post_init__(self) -> None:
        if not 0 < self.emissivity <= 1 or not self.area_m2 > 0:
            raise ValueError("an emissivity lies above 0 to 1, and an area above 0")

    @property
    def resistance(self) -> float:
        """(1 - e) / (A e), 1/m²: how its own greyness hinders exchange."""
        return (1 - self.emissivity) / (self.area_m2 * self.emissivity)


def exchange(hot_K: float, cold_K: float, hot: Face, cold: Face, view_factor: float) -> float:
    """Return the heat, W, from one surface to the other in an enclosure of the two alone.

    `view_factor` is from `hot` to `cold`. Incropera 13.18.
    """
    if not 0 < view_factor <= 1:
        raise ValueError("a view factor lies above 0 to 1")
    between = 1 / (hot.area_m2 * view_factor)
    return float(black_body(hot_K) - black_body(cold_K)) / (hot.resistance + between + cold.resistance)


def through_shields(
    hot_K: float, cold_K: float, hot: Face, cold: Face, shields: Sequence[tuple[Face, Face]] = ()
) -> tuple[float, tuple[float, ...]]:
    """Return the heat, W, from the inner to the outer of nested or parallel surfaces, and the shields' temperatures, K.

    Each surface sees only the next: nested convex shells, inner first, or wide plates. `shields` are pairs of
    faces, the one towards `hot` first; conduction through their thickness is not hindered. Incropera 13.24.
    """
    faces = [hot, *(face for pair in shields for face in pair), cold]
    steps = [
        inner.resistance + 1 / inner.area_m2 + outer.resistance
        for inner, outer in zip(faces[::2], faces[1::2], strict=True)
    ]
    heat = float(black_body(hot_K) - black_body(cold_K)) / sum(steps)
    power = float(black_body(hot_K)) - heat * np.cumsum(steps[:-1])
    return heat, tuple(float(t) for t in temperature_of(power))
