"""What the part must stay out of: zones as obstacles with their motions, gaps, guards and growth."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np

from clearance.access.obstacle import Obstacle
from clearance.frames import Array
from clearance.heat.growth import Growth
from clearance.keepout.swept import Asked, SweptBody
from clearance.layout.layout import Layout
from clearance.motion.bodies import corners
from clearance.motion.field import may_be_lower
from clearance.motion.pair import PairMotion, pair_motion
from clearance.verdict.obstacles import guard_over, obstacles_of, unclaimed_obstacles

SEARCH_MM = 0.15
"""What a check may lose in its own searches (bounds 0.02 to 0.05 mm wide, classes of spacing 0.05)."""

SEARCH_UNCLAIMED_MM = 0.6
"""The same for scan points of no zone, whose bound is 0.5 mm wide."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Blocker:
    """An obstacle, how it moves against the part, and what is required of it besides gap, doubt and spacing, mm."""

    obstacle: Obstacle
    motion: PairMotion
    more_mm: float

    @property
    def needed_mm(self) -> float:
        """Clearance that a place must have over all motions and temperatures to lie outside."""
        return self.obstacle.needed_mm + self.more_mm

    @cached_property
    def swept(self) -> SweptBody:
        """The obstacle over its motion."""
        return SweptBody(self.obstacle.solid, self.motion)


def blockers_of(layout: Layout, low: Array, high: Array, coarse_mm: float) -> tuple[Blocker, ...]:
    """Return everything that a check of a part within the box [low, high] (bay, mm) would measure against.

    The guards are the largest of any part in the box; `coarse_mm`: spacings below it are taken for it.
    """
    setting = layout.setting
    box = box_corners(*_grown_box(low, high, setting.growth))
    unlike, needed = _unlike_mm(box, setting.growth), 0.0
    found: list[Blocker] = []
    for zone in layout.zones.zones:
        motion = layout.motions[zone.name]
        for obstacle in obstacles_of(zone, setting, box, zone.gap_mm, coarse_mm):
            more = SEARCH_MM
            if obstacle.spacing_mm or not obstacle.firm:
                more += unlike
            if not obstacle.firm:
                more += float(may_be_lower(motion, corners(obstacle.solid)).max())
            found.append(Blocker(obstacle=obstacle, motion=motion, more_mm=more))
            needed = max(needed, obstacle.needed_mm)
    part, gap = setting.part, max(zone.gap_mm for zone in layout.zones.zones)
    doubt = max(needed - gap, *(guard_over(zone, setting, box) for zone in layout.zones.zones))
    motion = pair_motion(part.rides, "chassis" if part.rides == "engine" else "engine", setting.rock)
    for obstacle in unclaimed_obstacles(layout.zones, setting, box, gap, doubt, coarse_mm):
        found.append(Blocker(obstacle=obstacle, motion=motion, more_mm=unlike + SEARCH_UNCLAIMED_MM))
    return tuple(found)


def margin_at(blocker: Blocker, growth: Growth | None, points: Array, low: Array, high: Array, tol: float) -> Array:
    """Return (n,) lower bounds, mm, of clearance less what is needed, of places of the part as modelled.

    Over all motions and, with growth, all temperatures: a place goes along a line through the anchor and
    is asked at the middle of that, less half its length. `low`, `high` (n,): see `Asked`.
    """
    places, half = points, np.zeros(len(points))
    if growth is not None:
        away = points - growth.anchor
        places = growth.anchor + (growth.k_cold + growth.k_hot) / 2 * away
        half = (growth.k_hot - growth.k_cold) / 2 * np.linalg.norm(away, axis=1)
    less = blocker.needed_mm + half
    return blocker.swept.least_clearance(Asked(places, low + less, high + less, tol)) - less


def box_corners(low: Array, high: Array) -> Array:
    """Return the (8, 3) corners of a box."""
    return np.array(list(product(*np.stack([low, high]).T)), dtype=np.float64)


def _grown_box(low: Array, high: Array, growth: Growth | None) -> tuple[Array, Array]:
    """Return a box that holds whatever lies in [low, high] at every temperature."""
    if growth is None:
        return low, high
    places = [growth.anchor + k * (box_corners(low, high) - growth.anchor) for k in (growth.k_cold, 1.0, growth.k_hot)]
    everywhere = np.concatenate(places)
    return everywhere.min(axis=0), everywhere.max(axis=0)


def _unlike_mm(box: Array, growth: Growth | None) -> float:
    """Return how far any place of a part in the box lies, at one temperature, from where it lies at another."""
    if growth is None:
        return 0.0
    return float(np.linalg.norm(box - growth.anchor, axis=1).max()) * (growth.k_hot - growth.k_cold)
