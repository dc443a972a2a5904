"""The smallest gap, bare and behind a shield, at which a neighbour stays within its limit.

The zone is moved as one body along the line between its nearest point and the part's, as both stand at rest, and
its hottest point found anew at each place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from clearance.frames import Array
from clearance.heat.neighbour import Neighbour, Source, heated_length_m, looked, placed, temperatures
from clearance.heat.surface_temperature import Surroundings
from clearance.scene.cubes import cubes
from clearance.shield.result import Gap
from clearance.units import celsius

MOST_MM = 1000.0
"""Widest gap tried."""

LADDER_MM = (
    MOST_MM, 700.0, 500.0, 350.0, 250.0, 180.0, 130.0, 90.0, 65.0, 45.0, 32.0, 23.0, 16.0, 11.0, 8.0, 5.0, 3.0, 1.0,
)  # fmt: skip
SETTLED_MM = 0.5
MOST_POINTS, NEAREST_POINTS, HOTTEST_POINTS = 1000, 100, 100
CANDIDATES, FINE_RAYS = 12, 8192


@dataclass(frozen=True, eq=False)
class Mover:
    """A zone that can be moved off the part along the line of its gap.

    Attributes
    ----------
    neighbour : Neighbour
        Some of its points, as they stand.
    direction : (3,) float64
        From the part to the zone.
    """

    neighbour: Neighbour
    direction: Array

    def at(self, gap_mm: float, source: Source) -> Neighbour:
        """Return the points where the nearest is `gap_mm` from the part, but for what comes nearer on the way."""
        here = self.neighbour
        shift = (gap_mm - float(here.gap_mm.min())) * self.direction
        return placed(here.points + shift, here.normals, source.surface, here.emissivity)


def mover(neighbour: Neighbour, temperature_K: Array) -> Mover:
    """Thin a zone out, keeping its nearest and its hottest points."""
    nearest = int(neighbour.gap_mm.argmin())
    away = neighbour.away[nearest]
    length = float(np.linalg.norm(away))
    inside = neighbour.gap_mm[nearest] <= 0
    way = -neighbour.normals[nearest] if inside or length < 1e-9 else away / length
    side = 1.0
    while len(first := cubes(neighbour.points, side)[0]) > MOST_POINTS:
        side *= 1.3
    kept = [first, np.argsort(neighbour.gap_mm)[:NEAREST_POINTS], np.argsort(-temperature_K)[:HOTTEST_POINTS]]
    return Mover(neighbour.at(np.unique(np.concatenate(kept))), way)


def hottest_K(neighbour: Neighbour, source: Source, arounds: tuple[Surroundings, ...], *, behind: bool) -> list[float]:
    """Return the hottest point's temperature, K, in each of the surroundings.

    The candidates of a coarse look are looked at again with so many rays that their view factors are known
    within `sampling_bound(FINE_RAYS)`, 0.0035.
    """
    seen = looked(neighbour, source, behind=behind)
    length_m = heated_length_m(neighbour, seen)
    coarse = [temperatures(neighbour, source, around, behind=behind, seen=seen) for around in arounds]
    some = np.unique(np.concatenate([np.argsort(-t)[:CANDIDATES] for t in coarse]))
    few = neighbour.at(some)
    fine = looked(few, source, behind=behind, rays=FINE_RAYS)
    return [
        float(temperatures(few, source, around, behind=behind, seen=fine, length_m=length_m).max())
        for around in arounds
    ]


def smallest_gap(moved: Mover, source: Source, around: Surroundings, limit_K: float, *, behind: bool) -> Gap:
    """Return the smallest gap from which on the zone stays within its limit at every wider gap tried.

    Tried from far to near in steps of a third, then halved to 0.5 mm; the gap returned is one that was tried and
    found enough.
    """
    if source.part.hottest_K <= limit_K:
        return Gap(gap_mm=0.0, tried_mm=MOST_MM, why="the part itself is no hotter than the limit")
    if around.ambient_K >= limit_K:
        return Gap(
            gap_mm=None,
            tried_mm=MOST_MM,
            why=f"no gap is enough: the air itself is at {celsius(around.ambient_K):g} °C",
        )
    least = source.build_mm if behind else 0.0

    def enough(gap_mm: float) -> bool:
        return hottest_K(moved.at(gap_mm, source), source, (around,), behind=behind)[0] <= limit_K

    rungs = [rung for rung in LADDER_MM if rung > least]
    kept = _last_kept(rungs, enough)
    if kept is None:
        return Gap(gap_mm=None, tried_mm=MOST_MM, why=f"no gap up to {MOST_MM:g} mm is enough")
    below = next((rung for rung in rungs if rung < kept), least)
    while kept - below > SETTLED_MM:
        middle = (kept + below) / 2
        kept, below = (middle, below) if enough(middle) else (kept, middle)
    return Gap(gap_mm=kept, tried_mm=MOST_MM, why="moved along the gap until the limit was met")


def _last_kept(rungs: list[float], enough: Callable[[float], bool]) -> float | None:
    """Return the nearest of the rungs, widest first, down to which all are enough."""
    kept = None
    for rung in rungs:
        if not enough(rung):
            break
        kept = rung
    return kept
