"""What places of a sheet the zones leave no room for, worked out point by point before the sheet is judged whole."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np

from clearance.frames import Array
from clearance.layout.layout import Layout
from clearance.shield.approach import approach
from clearance.shield.room import guard_of, held_mm, zones_and_motions
from clearance.verdict.setting import Setting

FORMING_MM = 1.0
"""A sheet bent by hand lies within this of its drawing, either way (common practice)."""

TOLERANCE_MM = 1.0
"""A place is told to be short although it is not, if by less than this."""

NOTHING: Mapping[str, float] = MappingProxyType({})


class KeepClear:
    """How much room the zones leave.

    Parameters
    ----------
    guard_mm : by the zone's name
        Guard of the part's clearance; a sheet's is taken to be more by `FORMING_MM` at most.
    air_mm : float
        Least gap that any zone must keep from a sheet (`held_mm`).
    """

    def __init__(self, layout: Layout, guard_mm: Mapping[str, float], air_mm: float) -> None:
        self._growth = layout.setting.growth
        self._zones = [
            (zone, motion, held_mm(zone, air_mm) + guard_of(zone, guard_mm) + FORMING_MM)
            for zone, motion in zones_and_motions(layout)
        ]
        self._slack = growth_slack_mm(layout.setting)

    def short_mm(self, points: Array, more_mm: Mapping[str, float] = NOTHING) -> Array:
        """Return by how much (n, 3) points that ride with the part are short of the gap they need; at least -`TOLERANCE_MM`.

        An upper bound, at most `TOLERANCE_MM` too high. `more_mm` is asked on top of a zone's gap.
        """
        short = np.full(len(points), -TOLERANCE_MM)
        for zone, motion, held in self._zones:
            wanted = held + self._slack + more_mm.get(zone.name, 0.0)
            cap = wanted - short
            short = np.maximum(short, wanted - approach(points, zone, motion, self._growth, cap, TOLERANCE_MM))
        return short


def growth_slack_mm(setting: Setting) -> float:
    """How far a sheet that is not as hot as the part may stand off where it would be if it were, mm."""
    if setting.growth is None:
        return 0.0
    corners = setting.part.mesh.vertices
    size = float(np.linalg.norm(corners.max(axis=0) - corners.min(axis=0)))
    return (setting.growth.k_hot - setting.growth.k_cold) * size
