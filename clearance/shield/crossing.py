"""Where the lines of heat cross a shell or pass its ends, and how much of it that asks for."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from clearance.frames import Array
from clearance.shield.sightlines import Sightlines
from clearance.shield.surface import Mask

LEFT_OUT = 0.005
"""Share of the heat at each rim that does not widen the sheet."""


@dataclass(frozen=True, kw_only=True)
class Window:
    """The part of a shell that is made: `t` round it, counted from its first corner and over it, `s` along it, mm."""

    t: tuple[float, float]
    s: tuple[float, float]


def shell_points(lines: Sightlines, axes: Array, loop: Array, ends: tuple[float, float]) -> tuple[Array, Array, Array]:
    """Return t and s, (k,) mm, of where lines cross a shell last, and their power.

    Parameters
    ----------
    axes : (3, 3) float64
        Rows: two directions of the section, and the direction along the shell.
    loop : (k, 2) float64
        The section, first corner repeated at the end.
    ends : float, float
        Of the shell, along it.
    """
    start, way = lines.start @ axes.T, lines.way @ axes.T
    last, t = np.full(len(start), -1.0), np.zeros(len(start))
    reached = 0.0
    for a, b in pairwise(loop):
        edge = b - a
        size = float(np.linalg.norm(edge))
        cross = way[:, 0] * edge[1] - way[:, 1] * edge[0]
        safe = np.where(np.abs(cross) > 1e-12, cross, 1e-12)
        away = a - start[:, :2]
        far = (away[:, 0] * edge[1] - away[:, 1] * edge[0]) / safe
        share = (away[:, 0] * way[:, 1] - away[:, 1] * way[:, 0]) / safe
        height = start[:, 2] + far * way[:, 2]
        met = (share >= 0) & (share <= 1) & (far > 0) & (far < lines.length)
        met &= (height >= ends[0]) & (height <= ends[1]) & (far > last)
        last[met], t[met] = far[met], reached + share[met] * size
        reached += size
    hit = last >= 0
    return t[hit], start[hit, 2] + last[hit] * way[hit, 2], lines.power[hit]


def end_points(lines: Sightlines, axes: Array, loop: Array, at: float, side: float) -> tuple[Array, Array]:
    """Return where, (k, 2) mm, lines from beyond the plane `at` pass it within the section, and their power.

    `side`: 1 where beyond is upward, -1 where it is downward.
    """
    start, way = lines.start @ axes.T, lines.way @ axes.T
    far = (at - start[:, 2]) / np.where(np.abs(way[:, 2]) > 1e-12, way[:, 2], 1e-12)
    passes = (side * (start[:, 2] - at) > 0) & (far > 0) & (far < lines.length)
    places = (start + far[:, None] * way)[:, :2]
    passes &= _inside(places, loop)
    return places[passes], lines.power[passes]


def window(
    t: Array, s: Array, power: Array, ends: tuple[float, float], margin_mm: float, length: float
) -> Window | None:
    """Return the shortest stretch round the shell, and that along it, in which all but `LEFT_OUT` of the power crosses.

    Widened by the margin; along the shell it goes to an end that is near.
    """
    if not len(t):
        return None
    order = np.argsort(t)
    places = np.concatenate([t[order], t[order] + length])
    summed = np.concatenate([[0.0], np.cumsum(np.tile(power[order], 2))])
    wanted = (1 - 2 * LEFT_OUT) * power.sum()
    last = np.minimum(np.searchsorted(summed, summed[: len(t)] + wanted * (1 - 1e-12)) - 1, len(places) - 1)
    best = int(np.argmin(places[last] - places[: len(t)]))
    low, high = float(places[best]) - margin_mm, float(places[last[best]]) + margin_mm
    if high - low >= length:
        low, high = 0.0, length
    if low < 0:
        low, high = low + length, high + length
    return Window(t=(low, min(high, 2 * length)), s=_stretch(s, power, ends, margin_mm))


def _stretch(s: Array, power: Array, ends: tuple[float, float], margin_mm: float) -> tuple[float, float]:
    order = np.argsort(s)
    summed = np.cumsum(power[order]) / power.sum()
    low, high = (
        float(s[order][min(int(np.searchsorted(summed, share)), len(s) - 1)]) for share in (LEFT_OUT, 1 - LEFT_OUT)
    )
    low, high = low - margin_mm, high + margin_mm
    return (
        ends[0] if low - ends[0] < 2 * margin_mm else low,
        ends[1] if ends[1] - high < 2 * margin_mm else high,
    )


def _inside(points: Array, loop: Array) -> Mask:
    """Tell which of (n, 2) points lie within a closed loop (even-odd rule)."""
    inside = np.zeros(len(points), dtype=bool)
    for a, b in pairwise(loop):
        straddles = (a[1] > points[:, 1]) != (b[1] > points[:, 1])
        rise = b[1] - a[1] if b[1] != a[1] else 1.0
        inside ^= straddles & (points[:, 0] < a[0] + (points[:, 1] - a[1]) * (b[0] - a[0]) / rise)
    return inside
