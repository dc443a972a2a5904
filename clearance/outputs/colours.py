"""The colour scale of a clearance: what colour a millimetre gets. Drawing happens elsewhere.

Four bands hang on the required gap R: interference (below 0), short (0 to R), enough (R to 2 R) and plenty (above
2 R). Inside a band the colour runs in a straight line between two sRGB stops; between bands it jumps, so the break at R
stays visible with every common form of colour blindness. Colour is never the only sign: words and numbers go with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.frames import Array

Rgb = NDArray[np.uint8]

SMALLEST_BAND_MM = 1.0
"""Width of the bands around a required gap of (nearly) zero, where R itself would give bands without width."""

NOT_CHECKED: tuple[int, int, int] = (0x9A, 0x9A, 0x9A)
"""Surface without a clearance, such as a contact face that is left out on purpose."""


@dataclass(frozen=True)
class Band:
    """One stretch of the scale: `name`, what it means, sRGB stops at its low and high end."""

    name: str
    meaning: str
    low: tuple[int, int, int]
    high: tuple[int, int, int]


BANDS = (
    Band("interference", "below 0", (0x2B, 0x0A, 0x3D), (0x7D, 0x24, 0x82)),
    Band("short", "0 to gap", (0xD5, 0x5E, 0x00), (0xF5, 0xB9, 0x5F)),
    Band("enough", "gap to 2 x gap", (0x6F, 0xB1, 0xD6), (0xA9, 0xD0, 0xE6)),
    Band("plenty", "above 2 x gap", (0xBC, 0xD9, 0xE8), (0xDF, 0xE8, 0xEC)),
)


def band_index(clearance_mm: ArrayLike, gap_mm: ArrayLike) -> NDArray[np.int64]:
    """Return which of `BANDS` each clearance falls in: 0 interference, 1 short, 2 enough, 3 plenty, -1 not a number.

    The break at the gap is exact: a clearance equal to the gap is enough.
    """
    value, gap = np.broadcast_arrays(np.asarray(clearance_mm, np.float64), np.asarray(gap_mm, np.float64))
    index = (value >= 0).astype(np.int64) + (value >= gap) + (value >= gap + _width(gap))
    index = np.where(value < 0, 0, index)
    return np.where(np.isnan(value), -1, index)


def rgb(clearance_mm: ArrayLike, gap_mm: ArrayLike) -> Rgb:
    """Return the (..., 3) uint8 sRGB colour of clearances (mm) for required gaps (mm), broadcast together.

    NaN becomes `NOT_CHECKED`; infinity is plenty.
    """
    value, gap = np.broadcast_arrays(np.asarray(clearance_mm, np.float64), np.asarray(gap_mm, np.float64))
    width = _width(gap)
    index = band_index(value, gap)
    start = np.choose(np.maximum(index, 0), [-width, np.zeros_like(gap), gap, gap + width])
    span = np.where(index == 1, np.maximum(gap, 1e-9), width)
    along = np.clip(np.nan_to_num((value - start) / span, nan=0.0, posinf=1.0, neginf=0.0), 0.0, 1.0)
    low = np.array([band.low for band in BANDS] + [NOT_CHECKED], np.float64)[index]
    high = np.array([band.high for band in BANDS] + [NOT_CHECKED], np.float64)[index]
    colours: Rgb = np.round(low + (high - low) * along[..., None]).astype(np.uint8)
    return colours


def plenty_from(gap_mm: Array) -> Array:
    """Return the clearance, mm, at which the band "plenty" begins."""
    return gap_mm + _width(gap_mm)


def srgb_to_linear(colours: ArrayLike) -> Array:
    """Return linear-light values in [0, 1] of uint8 sRGB colours (IEC 61966-2-1 transfer function)."""
    c = np.asarray(colours, np.float64) / 255.0
    linear: Array = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return linear


def _width(gap: Array) -> Array:
    """Width of the bands other than "short", mm."""
    width: Array = np.maximum(gap, SMALLEST_BAND_MM)
    return width
