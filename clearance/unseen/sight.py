"""Lines of sight: how deep each station saw in every direction.

Points of the station's own scan prove what lies before them to be free. Where all stations' points are
merged, the same is done with all of them, and that assumes that every surface a station faced gave
returns: through one that gave none to any station, points behind it that another station saw look free.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import convolve, minimum_filter

from clearance.frames import Array
from clearance.scene.mesh import IntArray
from clearance.scene.neighbours import Neighbours

SAMPLE = 4000
"""Directions at which a station's angular spacing is measured."""

USUAL = 0.9
"""Quantile of the angular spacing that sets the size of a pixel."""

ENOUGH = 5
"""An empty pixel with so many filled ones among its eight neighbours is filled by the nearest of their depths."""

FINEST_RAD, COARSEST_RAD = 0.0008, 0.03


class Seen(IntEnum):
    """What a station tells of a place: nothing returned from there, seen through, at the surface, or behind it."""

    NOTHING = 0
    FREE = 1
    AT_SURFACE = 2
    BEHIND = 3


@dataclass(frozen=True, eq=False)
class Sight:
    """Depth map of one station on the six faces of a cube, pixels alike in angle.

    Attributes
    ----------
    eye : (3,) float64, mm
    depth : (6, n, n) float32
        Least range in each pixel, mm; infinite where nothing returned.
    pixel_rad : float
        Widest side of a pixel.
    """

    eye: Array
    depth: NDArray[np.float32]
    pixel_rad: float

    def of(self, places: Array, margin_mm: Array | float) -> NDArray[np.int8]:
        """Return a `Seen` for each of (n, 3) places; a range within `margin_mm` of the place is at the surface."""
        pixel, range_mm = _pixels(places - self.eye, self.depth.shape[1])
        depth = self.depth.reshape(-1)[pixel]
        seen = np.full(len(places), Seen.AT_SURFACE, np.int8)
        seen[depth > range_mm + margin_mm] = Seen.FREE
        seen[depth < range_mm - margin_mm] = Seen.BEHIND
        seen[~np.isfinite(depth)] = Seen.NOTHING
        return seen


def sight_of(eye: Array, points: Array, low: Array, high: Array, finest_mm: float) -> Sight:
    """Return what a station at `eye` (3,) saw, from (n, 3) points, mm.

    Only directions towards the box from `low` to `high` count. A pixel is as wide as the scan's own
    angular spacing there or as `finest_mm` at the box, whichever is wider.
    """
    away = points - eye
    middle, half = (low + high) / 2 - eye, float(np.linalg.norm(high - low)) / 2
    reach = float(np.linalg.norm(middle))
    if reach > half:
        angle = np.arcsin(half / reach)
        range_mm = np.linalg.norm(away, axis=1)
        away = away[away @ (middle / reach) > np.cos(min(angle + COARSEST_RAD, np.pi)) * range_mm]
    pixel = float(np.clip(max(_spacing_rad(away), finest_mm / max(reach, half)), FINEST_RAD, COARSEST_RAD))
    n = max(8, int(np.pi / 2 / pixel))
    depth = np.full(6 * n * n, np.inf, np.float32)
    if len(away):
        index, range_mm = _pixels(away, n)
        np.minimum.at(depth, index, range_mm.astype(np.float32))
    return Sight(eye, np.stack([_filled(face) for face in depth.reshape(6, n, n)]), np.pi / 2 / n)


def _spacing_rad(away: Array) -> float:
    """Return the usual distance to the sixth neighbour in direction, rad."""
    if len(away) < 16:
        return COARSEST_RAD
    ways = away / np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-9)
    some = ways[:: max(1, len(ways) // SAMPLE)]
    return float(np.quantile(Neighbours(ways).nearest(some, 7)[0][:, 6], USUAL))


def _pixels(away: Array, n: int) -> tuple[IntArray, Array]:
    """Return the pixel's number and the range, mm, of (m, 3) vectors from the eye."""
    axis = np.argmax(np.abs(away), axis=1)
    row = np.arange(len(away))
    ahead = away[row, axis]
    scale = np.where(np.abs(ahead) > 0, np.abs(ahead), 1.0)
    side = [np.arctan(away[row, (axis + k) % 3] / scale) for k in (1, 2)]
    u, v = (np.clip(((a / (np.pi / 2) + 0.5) * n).astype(np.int64), 0, n - 1) for a in side)
    return ((2 * axis + (ahead > 0)) * n + u) * n + v, np.linalg.norm(away, axis=1)


def _filled(face: NDArray[np.float32]) -> NDArray[np.float32]:
    """Fill empty pixels that are all but surrounded: the scan's own grain, not a hole."""
    known = np.isfinite(face)
    if known.all() or not known.any():
        return face
    around = convolve(known.astype(np.int8), np.ones((3, 3), np.int8), mode="constant")
    least = minimum_filter(face, size=3, mode="constant", cval=np.inf)
    return np.where(~known & (around >= ENOUGH), least, face)
