"""How each zone of a result moves against the part, for drawing."""

from __future__ import annotations

from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.rock import rock_of
from clearance.motion.zone_motion import ZoneMotion, zone_motion_of
from clearance.verdict.result import CheckResult, ZoneResult


def own_motion(result: CheckResult, zone: ZoneResult) -> ZoneMotion:
    """Return what a zone rides on and how it moves besides.

    Points that were peeled off onto the engine ride there and leave the motion of their table's zone.
    """
    for table in result.job.zones:
        if table.name == zone.zone.table and table.rides == zone.zone.rides:
            return zone_motion_of(table, result.job.links)
    return ZoneMotion(rides=zone.zone.rides)


def motion_of(result: CheckResult, zone: ZoneResult) -> PairMotion:
    """Return how a zone moves against the part."""
    return pair_motion(result.part.rides, own_motion(result, zone), rock_of(result.job.rock))
