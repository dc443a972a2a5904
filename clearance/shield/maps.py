"""A zone's temperatures as a coloured point cloud: PLY with a `temperature_C` number per point."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array
from clearance.outputs.colours import Rgb
from clearance.outputs.meshes import ply
from clearance.shield.result import ZoneHeat

STOPS = {
    "within": ((0xDF, 0xE8, 0xEC), (0x3E, 0x83, 0xB0)),
    "over": ((0xF5, 0xB9, 0x5F), (0x7A, 0x1E, 0x00)),
}
"""sRGB from the coolest point to the limit, and, after a jump, from the limit to twice as far beyond."""


def temperature_ply(zone: ZoneHeat) -> bytes:
    """Return a binary little-endian PLY of the zone's points, bay frame at rest, mm; the worse condition, bare."""
    colours = temperature_rgb(zone.temperature_C, zone.limit_C)
    return ply(zone.points, np.zeros((0, 3), np.int64), colours, zone.temperature_C, "temperature_C")


def temperature_rgb(temperature_C: Array, limit_C: float) -> Rgb:
    """Return the (n, 3) colours of temperatures beside a limit: pale to blue within it, amber to dark red over it."""
    coolest = min(float(temperature_C.min(initial=limit_C)), limit_C - 1.0)
    share = (temperature_C - coolest) / (limit_C - coolest)
    over = share > 1.0
    colour = np.where(over[:, None], _between("over", (share - 1.0) / 2), _between("within", share))
    return np.round(colour).astype(np.uint8)


def _between(name: str, share: Array) -> Array:
    low, high = (np.array(stop, dtype=np.float64) for stop in STOPS[name])
    mixed: Array = low + np.clip(share, 0.0, 1.0)[:, None] * (high - low)
    return mixed
