"""The only file that converts units. Inside the program: mm, rad, K."""

from __future__ import annotations

import math

MM_PER_UNIT: dict[str, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
"""Millimetres in one length unit. The inch is exact: 25.4 mm (international inch, 1959)."""

UNITS = tuple(MM_PER_UNIT)


def to_mm(unit: str) -> float:
    """Return the factor from `unit` to mm. Raises KeyError for a unit not in `UNITS`."""
    return MM_PER_UNIT[unit]


def radians(degrees: float) -> float:
    """Return degrees as radians."""
    return math.radians(degrees)


def degrees(radians_: float) -> float:
    """Return radians as degrees."""
    return math.degrees(radians_)


def kelvin(celsius_: float) -> float:
    """Return °C as K."""
    return celsius_ + 273.15


def celsius(kelvin_: float) -> float:
    """Return K as °C."""
    return kelvin_ - 273.15
