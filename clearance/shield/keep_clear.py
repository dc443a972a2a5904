"""What places of a sheet the zones leave no room for, worked out point by point before the sheet is judged whole."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from clearance.distance.inside import Surface
from clearance.frames import Array
from clearance.heat.growth import Growth
from clearance.layout.layout import Layout
from clearance.motion.pair import PairMotion, pair_motion
from clearance.scene.mesh import Mesh
from clearance.scene.zone import Zone
from clearance.shield.approach import approach
from clearance.shield.room import guard_of, held_mm, lone_zone, other_carrier, zones_and_motions
from clearance.unseen.result import Unseen

FORMING_MM = 1.0
"""A sheet bent by hand lies within this of its drawing, either way (common practice)."""

TOLERANCE_MM = 1.0
"""A place is told to be short although it is not, if by less than this."""

GRID_MM, NEAR_MM, FAR_MM = 8.0, 3.0, 48.0

NOTHING: Mapping[str, float] = MappingProxyType({})


class KeepClear:
    """How much room the zones leave.

    Parameters
    ----------
    guard_mm : by the zone's name
        Guard of the part's clearance; a sheet's is taken to be more by `FORMING_MM` at most.
    air_mm : float
        Least gap that any zone must keep from a sheet (`held_mm`).

    Pieces are taken to be no larger than the part.
    """

    def __init__(self, layout: Layout, guard_mm: Mapping[str, float], air_mm: float) -> None:
        self._growth = layout.setting.growth
        self._zones = [
            (zone, motion, held_mm(zone, air_mm) + guard_of(zone, guard_mm) + FORMING_MM)
            for zone, motion in zones_and_motions(layout)
        ]
        self._slack = growth_slack_mm(layout.setting.growth, [layout.setting.part.mesh])
        self._setting = layout.setting

    def short_mm(self, points: Array, more_mm: Mapping[str, float] = NOTHING, unseen: Sequence[Unseen] = ()) -> Array:
        """Return by how much (n, 3) points that ride with the part are short of their gap; at least -`TOLERANCE_MM`.

        An upper bound, at most `TOLERANCE_MM` too high. `more_mm` is asked on top of a zone's gap; of `unseen`
        places what their zone needs, about a ball of their size.
        """
        short = np.full(len(points), -TOLERANCE_MM)
        asked = [(zone, motion, held + self._slack + more_mm.get(zone.name, 0.0)) for zone, motion, held in self._zones]
        for zone, motion, wanted in (*asked, *map(self._about, unseen)):
            cap = wanted - short
            short = np.maximum(short, wanted - approach(points, zone, motion, self._growth, cap, TOLERANCE_MM))
        return short

    def _about(self, place: Unseen) -> tuple[Zone, PairMotion, float]:
        """An unseen place as a zone of one point, how it moves against the sheet, and how far from it to keep, mm."""
        part = self._setting.part
        return (
            lone_zone("unseen", place.centre[None], part),
            pair_motion(part.rides, other_carrier(part), self._setting.rock),
            place.needed_mm + place.size_mm / 2,
        )


class RoughlyClear:
    """`KeepClear.short_mm` about a part, told from a grid of it: for planning, within some mm.

    Places nearer to the part than `NEAR_MM` or farther than `FAR_MM` count as free: no sheet goes there.
    """

    def __init__(self, clear: KeepClear, part: Mesh) -> None:
        low, high = part.vertices.min(axis=0) - FAR_MM, part.vertices.max(axis=0) + FAR_MM
        sides = [np.arange(a, b + GRID_MM, GRID_MM) for a, b in zip(low, high, strict=True)]
        places = np.stack(np.meshgrid(*sides, indexing="ij"), axis=-1)
        away = Surface(part).signed_distance(places.reshape(-1, 3))[0].reshape(places.shape[:3])
        near = (away > NEAR_MM) & (away < FAR_MM)
        short = np.full(away.shape, -TOLERANCE_MM)
        short[near] = clear.short_mm(places[near])
        self._found = RegularGridInterpolator(sides, short, bounds_error=False, fill_value=-TOLERANCE_MM)

    def short_mm(self, points: Array) -> Array:
        """Return by how much (n, 3) points are short of the gap they need, mm."""
        return np.asarray(self._found(points), dtype=np.float64)


def growth_slack_mm(growth: Growth | None, pieces: Sequence[Mesh]) -> float:
    """How far a sheet that is not as hot as the part may stand off where it would be if it were, mm.

    A piece fixed at its middle f grows from there by its own factor, that by the part's: a place x of it is off by the
    difference of the factors times the length of x - f.
    """
    if growth is None:
        return 0.0
    longest = max((float(np.linalg.norm(np.ptp(piece.vertices, axis=0))) / 2 for piece in pieces), default=0.0)
    return (growth.k_hot - growth.k_cold) * longest
