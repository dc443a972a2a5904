"""A scanner in closed form: rays against boxes and round bars, with noise, strays and a flattest angle."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
FLATTEST_COSINE = 0.17
"""Surfaces seen flatter than this (80 degrees) give no return."""


@dataclass(frozen=True)
class Box:
    """Everything between two corners, mm."""

    low: tuple[float, float, float]
    high: tuple[float, float, float]

    def hit(self, eye: Array, ways: Array) -> tuple[Array, Array]:
        """Return range, (n,) mm, infinite where missed, and the cosine at which (n, 3) unit rays arrive."""
        with np.errstate(divide="ignore"):
            one, other = (np.array(self.low) - eye) / ways, (np.array(self.high) - eye) / ways
        into, out = np.minimum(one, other), np.maximum(one, other)
        axis = into.argmax(axis=1)
        row = np.arange(len(ways))
        first = into[row, axis]
        met = (first > 0) & (first <= out.min(axis=1))
        return np.where(met, first, np.inf), np.abs(ways[row, axis])


@dataclass(frozen=True)
class Bar:
    """A round bar without end faces: its side surface from `start` to `end`, mm."""

    start: tuple[float, float, float]
    end: tuple[float, float, float]
    radius: float

    def hit(self, eye: Array, ways: Array) -> tuple[Array, Array]:
        """Return range, (n,) mm, infinite where missed, and the cosine at which (n, 3) unit rays arrive."""
        start = np.array(self.start, np.float64)
        along = np.array(self.end) - start
        length = float(np.linalg.norm(along))
        along /= length
        away = eye - start
        across, off = ways - np.outer(ways @ along, along), away - (away @ along) * along
        a = np.maximum(np.einsum("ni,ni->n", across, across), 1e-12)
        b, c = across @ off, float(off @ off) - self.radius**2
        root = np.sqrt(np.maximum(b * b - a * c, 0.0))
        first = (-b - root) / a
        at = away @ along + first * (ways @ along)
        met = (b * b > a * c) & (first > 0) & (at >= 0) & (at <= length)
        return np.where(met, first, np.inf), root / self.radius


@dataclass(frozen=True)
class Shots:
    """Points (n, 3), mm, the station and the body each came from (strays: body -1)."""

    points: Array
    station: NDArray[np.int64]
    body: NDArray[np.int64]


def scanned(
    bodies: Sequence[Box | Bar],
    stations: Array,
    at: Array,
    half_mm: float,
    pitch_mm: float,
    rng: np.random.Generator,
    noise_mm: float = 0.25,
    strays: float = 0.005,
) -> Shots:
    """Shoot a jittered square grid of rays from each of (k, 3) stations, `half_mm` to each side of `at`."""
    points, station, body = [], [], []
    for number, eye in enumerate(stations):
        ways = _ways(eye, at, half_mm, pitch_mm, rng)
        hits = [b.hit(eye, ways) for b in bodies]
        ranges, cosines = np.stack([r for r, _ in hits]), np.stack([c for _, c in hits])
        which, row = ranges.argmin(axis=0), np.arange(len(ways))
        range_mm = ranges[which, row]
        kept = np.isfinite(range_mm) & (cosines[which, row] > FLATTEST_COSINE)
        ways, which, range_mm = ways[kept], which[kept], range_mm[kept] + rng.normal(0, noise_mm, int(kept.sum()))
        stray = rng.random(len(ways)) < strays
        range_mm[stray] *= rng.uniform(0.4, 0.98, int(stray.sum()))
        which[stray] = -1
        points.append(eye + range_mm[:, None] * ways)
        station.append(np.full(len(ways), number))
        body.append(which)
    return Shots(np.concatenate(points), np.concatenate(station), np.concatenate(body))


def _ways(eye: Array, at: Array, half: float, pitch: float, rng: np.random.Generator) -> Array:
    middle = at - eye
    reach = float(np.linalg.norm(middle))
    middle = middle / reach
    right = np.cross(middle, [0.31, 0.2, 0.93])
    right /= np.linalg.norm(right)
    up = np.cross(right, middle)
    steps = np.arange(-half, half, pitch)
    u, v = (g.ravel() + 0.4 * pitch * rng.uniform(-1, 1, g.size) for g in np.meshgrid(steps, steps))
    ways: Array = middle + (u[:, None] * right + v[:, None] * up) / reach
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    return ways
