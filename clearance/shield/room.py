"""How thick a heat-shield build fits on every place of the part, over the whole motion, cold to hot."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.layout.layout import Layout
from clearance.motion.pair import PairMotion, pair_motion
from clearance.scene.mesh import IntArray, Mesh
from clearance.scene.part import Part
from clearance.scene.zone import Zone
from clearance.shield.approach import approach
from clearance.shield.surface import face_areas

AIR_MM = 6.0
"""Air kept behind a shield: below about 6 mm the heat that a gap of air conducts prevails (common practice)."""

MOVING = ("axle", "actuator", "access")
"""Kinds of zone whose gap is for what moves or must be reached; a sheet in the way is in it as the part would be."""

TOLERANCE_MM = 1.0
"""A bound is no more than this below the least distance."""

CAP_MM = 40.0
"""More room than this is not worked out."""

ROUNDING_MM = 1e-9
"""What float64 may lose on lengths within a bay."""

NO_ZONE = "points of no zone"


@dataclass(frozen=True, eq=False, kw_only=True)
class Room:
    """Thickness of standoff, sheet and air together that fits on the part.

    Around a vertex at distance d from a zone (the least over every pose, cold to hot) a ball of radius d
    is free of it. A shield whose every point is within standoff + sheet of a vertex therefore keeps
    d - standoff - sheet from the zone. So the room of a vertex is

        least over the zones of  d - guard - max(held - air, 0)

    with the zone's guard (what its clearance is uncertain by) and `held` what the zone wants kept free
    of a sheet (`held_mm`): the air alone, or the zone's own gap where things move or a hand must reach.
    The build's own air is part of the room. Stray points and places that the scan missed are not
    in it: the check of the blank weighs those.

    Attributes
    ----------
    part : Mesh
        The part's shown mesh, bay frame, neutral pose, mm.
    room_mm : (n,) float64
        Lower bound per vertex; at `cap_mm` it means at least that.
    limiting : (n,) int64
        Which of `zones` limits the room there, -1 where none does below the cap.
    air_mm, cap_mm, tolerance_mm : float
        The bound lies at most `tolerance_mm` below what the definition gives.
    """

    part: Mesh
    room_mm: Array
    limiting: IntArray
    zones: tuple[str, ...]
    air_mm: float
    cap_mm: float
    tolerance_mm: float

    @property
    def face_mm(self) -> Array:
        """(m,) lower bound of the room anywhere on each triangle, mm.

        No point of a triangle is farther than its longest edge / sqrt(3) from the nearest corner.
        """
        corners = self.part.triangles
        longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
        lower: Array = self.room_mm[self.part.faces].min(axis=1) - longest / np.sqrt(3.0)
        return lower

    def share_that_fits(self, build_mm: float, need_faces: NDArray[np.bool_]) -> float:
        """Return the share of the needed area on all of which a build of `build_mm` fits (proven, so a lower bound).

        `need_faces` (m,) tells which triangles of `part` need the shield. Raises ValueError if none does.
        """
        areas = face_areas(self.part)[need_faces]
        if not len(areas):
            raise ValueError("no triangle needs a shield")
        return float(areas[self.face_mm[need_faces] >= build_mm].sum() / areas.sum())


def room(
    layout: Layout,
    guard_mm: Mapping[str, float],
    air_mm: float = AIR_MM,
    cap_mm: float = CAP_MM,
    tolerance_mm: float = TOLERANCE_MM,
) -> Room:
    """Work out the room for a shield at every vertex of the part.

    Parameters
    ----------
    guard_mm : by the zone's name
        Guard of its clearance, as `judge_zone` finds it.
    air_mm : float
        Air behind the shield that is part of the build.

    Raises
    ------
    ValueError
        A zone has no guard, or a length is not above 0.
    """
    if air_mm < 0 or cap_mm <= 0:
        raise ValueError("air must not be negative, the cap must be above 0 mm")
    setting, part = layout.setting, layout.setting.part.shown
    least, limiting = np.full(len(part.vertices), cap_mm), np.full(len(part.vertices), -1, dtype=np.int64)
    names = []
    for number, (zone, motion) in enumerate(zones_and_motions(layout)):
        kept = guard_of(zone, guard_mm) + max(held_mm(zone, air_mm) - air_mm, 0.0)
        near = approach(part.vertices, zone, motion, setting.growth, least + kept, tolerance_mm) - kept
        lower = near < least - ROUNDING_MM
        least[lower], limiting[lower] = near[lower], number
        names.append(zone.name)
    return Room(
        part=part,
        room_mm=least,
        limiting=limiting,
        zones=tuple(names),
        air_mm=air_mm,
        cap_mm=cap_mm,
        tolerance_mm=tolerance_mm,
    )


def held_mm(zone: Zone, air_mm: float) -> float:
    """Return the gap, mm, that a zone wants of a shield: the air, or its own gap where that is for motion or reach."""
    return max(air_mm, zone.gap_mm) if zone.kind in MOVING else air_mm


def zones_and_motions(layout: Layout) -> Iterator[tuple[Zone, PairMotion]]:
    """Yield every zone and its motion; last, if there are any, the scan points that are in no zone.

    What those ride on is not known: they are moved against the part, which includes standing still.
    """
    for zone in layout.zones.zones:
        yield zone, layout.motions[zone.name]
    if len(layout.zones.unclaimed):
        part = layout.setting.part
        motion = pair_motion(part.rides, other_carrier(part), layout.setting.rock)
        yield lone_zone(NO_ZONE, layout.zones.unclaimed, part), motion


def other_carrier(part: Part) -> str:
    """Return the carrier that the part does not ride on."""
    return "chassis" if part.rides == "engine" else "engine"


def lone_zone(name: str, points: Array, part: Part) -> Zone:
    """Return points, (n, 3) mm, of which no table of the job says what they ride on: they move against the part."""
    return Zone(
        name=name, table=name, kind="chassis", rides=other_carrier(part), gap_mm=0.0,
        points=points, stray_points=np.zeros((0, 3)),
    )  # fmt: skip


def guard_of(zone: Zone, guard_mm: Mapping[str, float]) -> float:
    """Guard of a zone, mm; of the points of no zone, the largest of all."""
    if zone.name == NO_ZONE and zone.name not in guard_mm:
        return max(guard_mm.values(), default=0.0)
    if zone.name not in guard_mm:
        raise ValueError(f"no guard is given for zone '{zone.name}'")
    return guard_mm[zone.name]
