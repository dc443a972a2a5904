"""How a zone moves besides what carries it: swing about a joint, stroke, shaft between two carriers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from clearance.frames import Array, Pose, rigid, turn_about, unit_vector
from clearance.job.motions import Link as LinkTable
from clearance.job.schema import Zone as ZoneTable


@dataclass(frozen=True, eq=False, kw_only=True)
class Travel:
    """Swing about a line, right-handed, given at the neutral pose and carried by the zone's carrier.

    Attributes
    ----------
    point, direction : (3,) float64
        The line, mm, bay frame; `direction` has length 1.
    range_rad : (low, high)
    """

    point: Array
    direction: Array
    range_rad: tuple[float, float]

    def pose(self, angle_rad: float) -> Pose:
        """Return the swing, bay to bay."""
        return turn_about("bay", "bay", self.point, self.direction, angle_rad)


@dataclass(frozen=True, eq=False, kw_only=True)
class Stroke:
    """Straight motion in the zone's own frame, which the swing turns with the zone.

    Attributes
    ----------
    direction : (3,) float64, length 1, bay frame at the neutral pose
    range_mm : (low, high)
    """

    direction: Array
    range_mm: tuple[float, float]

    def pose(self, stroke_mm: float) -> Pose:
        """Return the stroke, bay to bay."""
        return rigid("bay", "bay", np.eye(3), stroke_mm * self.direction)


@dataclass(frozen=True, eq=False, kw_only=True)
class Link:
    """Joints of a straight round shaft between engine and chassis: (3,) points, mm, bay frame, neutral pose."""

    engine: Array
    chassis: Array


@dataclass(frozen=True, eq=False, kw_only=True)
class ZoneMotion:
    """What a zone rides on ("chassis" or "engine"; a link counts by its own) and how it moves besides."""

    rides: str = "chassis"
    travel: Travel | None = None
    stroke: Stroke | None = None
    link: Link | None = None


def zone_motion_of(table: ZoneTable, links: Iterable[LinkTable] = ()) -> ZoneMotion:
    """Return the motion of a job's [[zone]], given the job's [[link]] tables."""
    travel, stroke = table.travel, table.stroke
    by_name = {link.name: link for link in links}
    link = by_name.get(table.rides)
    return ZoneMotion(
        rides=table.rides,
        travel=None
        if travel is None
        else Travel(
            point=np.array(travel.about),
            direction=unit_vector(travel.axis),
            range_rad=(float(np.radians(travel.degrees[0])), float(np.radians(travel.degrees[1]))),
        ),
        stroke=None if stroke is None else Stroke(direction=unit_vector(stroke.axis), range_mm=stroke.mm),
        link=None if link is None else Link(engine=np.array(link.engine), chassis=np.array(link.chassis)),
    )
