"""Sampled clearance over the part, from every zone at once: which zone decides at each place, and by how much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.motion.result import ClearanceField
from clearance.outputs.colours import plenty_from
from clearance.verdict.result import CheckResult, ZoneResult


@dataclass(frozen=True, eq=False)
class Field:
    """Clearance of n places to some zones. Values at the cap mean "at least the cap"; NaN means not checked.

    Attributes
    ----------
    clearance_mm : (zones, n) float64
    gap_mm, cap_mm : (zones,) float64
    """

    clearance_mm: Array
    gap_mm: Array
    cap_mm: Array

    def at(self, corners: NDArray[np.int64], weights: Array) -> Field:
        """Return the field interpolated at k places: weights (k, 3) of the vertices `corners` (k, 3)."""
        values = np.einsum("zkc,kc->zk", self.clearance_mm[:, corners], weights)
        return Field(values, self.gap_mm, self.cap_mm)

    def deciding(self) -> tuple[Array, Array, Array]:
        """Return (clearance, gap, cap), each (n,) mm, of the zone with the smallest clearance - gap at each place."""
        margin = self.clearance_mm - self.gap_mm[:, None]
        zone = np.argmin(np.where(np.isnan(margin), np.inf, margin), axis=0)
        return self.clearance_mm[zone, np.arange(margin.shape[1])], self.gap_mm[zone], self.cap_mm[zone]

    def for_colours(self) -> tuple[Array, Array]:
        """Return (clearance, gap) of `deciding` with the plenty band stretched so that it ends at the cap.

        Beyond the cap no value is known, so the colours run out there instead of jumping. A cap below
        that band proves nothing more: there the value stays as it is.
        """
        value, gap, cap = self.deciding()
        start = plenty_from(gap)
        room = np.maximum(cap - start, 1e-9)
        stretched = start + np.maximum(value - start, 0.0) / room * (start - gap)
        return np.where((value > start) & np.isfinite(value), stretched, value), gap


def part_field(result: CheckResult) -> Field:
    """Collect the part fields of all zones, per part vertex."""
    return _collect(tuple((zone.part_field, zone) for zone in result.zones), len(result.part.shown.vertices))


def part_field_of(zone: ZoneResult) -> Field:
    """Return the part field of one zone, per part vertex."""
    return _collect(((zone.part_field, zone),), len(zone.part_field.values_mm))


def zone_field_of(zone: ZoneResult) -> Field:
    """Return the field of one zone, per zone point or zone mesh vertex."""
    return _collect(((zone.zone_field, zone),), len(zone.zone_field.values_mm))


def _collect(pairs: tuple[tuple[ClearanceField, ZoneResult], ...], count: int) -> Field:
    """Stack fields. Without any zone nothing was checked: one row of NaN."""
    if not pairs:
        return Field(np.full((1, count), np.nan), np.zeros(1), np.full(1, np.inf))
    values = np.array([np.minimum(field.values_mm, field.cap_mm) for field, _ in pairs], np.float64)
    gaps = np.array([zone.zone.gap_mm for _, zone in pairs], np.float64)
    return Field(values, gaps, np.array([field.cap_mm for field, _ in pairs], np.float64))
