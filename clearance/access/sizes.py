"""Sizes of nuts and hand tools, mm, each with where it is from.

Across flats: ISO 272 (hexagon products, widths across flats). Across corners: 2 / sqrt(3) of that. Outside of
a socket for 10 mm (3/8 inch) square drive: largest diameter of ISO 2725-1, from memory. Head of an open-end
spanner: at most 2.1 s + 7 for width s across flats, ISO 7738, from memory. The rest is common practice.
"""

from __future__ import annotations

import math

ACROSS_FLATS = {"M5": 8.0, "M6": 10.0, "M8": 13.0, "M10": 16.0, "M12": 18.0, "M14": 21.0, "M16": 24.0, "M20": 30.0}
"""ISO 272."""

SOCKET_OUTSIDE = {
    8.0: 12.2, 9.0: 13.5, 10.0: 14.7, 11.0: 16.0, 12.0: 17.2, 13.0: 18.5, 14.0: 19.7, 15.0: 21.0, 16.0: 22.2,
    17.0: 23.5, 18.0: 24.7, 19.0: 26.0, 21.0: 28.5, 22.0: 29.7,
}  # fmt: skip
"""Largest outside diameter by width across flats: ISO 2725-1, 10 mm drive, from memory."""

SOCKET_LENGTH = 32.0
"""Socket without extension: ISO 2725-1 short series, 10 mm drive, from memory."""

RATCHET_HEAD, RATCHET_HEIGHT, RATCHET_HANDLE, RATCHET_WIDTH = 35.0, 30.0, 200.0, 28.0
"""Diameter, height, reach and width of a 10 mm (3/8 inch) ratchet: common practice."""

SOCKET_SWING, SPANNER_SWING = 10.0, 30.0
"""Degrees. A ratchet of 72 teeth catches every 5: two of them. A hexagon and a head set over by 15 degrees catch
every 30 as the spanner is turned over. Common practice."""


def across_corners(across_flats: float) -> float:
    """Return the width across corners of a hexagon, mm."""
    return across_flats * 2 / math.sqrt(3)


def socket_outside(across_flats: float) -> float:
    """Return the largest outside diameter of a socket, mm; between listed sizes and beyond, 1.25 s + 2.25.

    The line lies within 0.15 mm of every listed value.
    """
    return SOCKET_OUTSIDE.get(across_flats, 1.25 * across_flats + 2.25)


def spanner_head(across_flats: float) -> float:
    """Return the largest width of an open-end spanner's head, mm (ISO 7738, from memory)."""
    return 2.1 * across_flats + 7.0


def spanner_thickness(across_flats: float) -> float:
    """Return a usual thickness of an open end, mm: common practice."""
    return 0.35 * across_flats + 3.0


def spanner_handle(across_flats: float) -> float:
    """Return a usual reach of a spanner from the stud's axis to its end, mm: common practice."""
    return 9.0 * across_flats + 40.0
