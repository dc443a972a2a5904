"""One zone from bodies to verdict: sweep it, at rest and over the motion, colour it, weigh it, decide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from clearance.bounds import Bound
from clearance.frames import Array
from clearance.motion.field import fields, least_sampled
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.result import Sweep
from clearance.motion.rock import Rock
from clearance.motion.sweep import sweep
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.scan import Scan
from clearance.scene.zone import Zone
from clearance.verdict.budget import budget
from clearance.verdict.decide import decide_zone
from clearance.verdict.enclosed import enclosed
from clearance.verdict.result import Verdict, ZoneResult
from clearance.verdict.suspects import unproven_stray

TOLERANCE_MM = 0.02
"""Width of the certified bound aimed at."""

COARSE_MM = 0.5
"""Width of the bound on points of no zone."""


def judge_zone(
    zone: Zone,
    part: Part,
    registration: Registration,
    scan: Scan | None,
    rock: Rock | None,
    confidence: float,
) -> ZoneResult:
    """Return the full result of one zone. `part` is in the bay's frame at the neutral pose."""
    motion = pair_motion(part.rides, zone.rides, rock)
    found = _swept(zone, part, motion, TOLERANCE_MM)
    shown = zone.shown if zone.shown is not None else _body(zone)
    part_field, zone_field = fields(part.shown, shown, zone.closed, motion, colour_cap(zone.gap_mm, found))
    weighed = budget(
        zone=zone,
        sweep=found,
        part=part,
        part_field=part_field,
        motion=motion,
        registration=registration,
        scan=scan,
        confidence=confidence,
    )
    verdict, reason = decide_zone(found.clearance, zone.gap_mm, weighed, registration)
    if verdict is Verdict.PASS and (why := enclosed(zone, part.mesh)):
        verdict, reason = Verdict.UNDECIDED, why
    if verdict is Verdict.PASS:
        doubt = unproven_stray(zone.stray_points, part.mesh, motion, zone.gap_mm + weighed.guard)
        verdict, reason = (Verdict.UNDECIDED, doubt) if doubt else (verdict, reason)
    part_pose, zone_pose = motion.poses(found.worst)
    return ZoneResult(
        zone=zone,
        sweep=found,
        nearest_raw_point_mm=_nearest_raw(zone, part, motion, found),
        budget=weighed,
        hot=False,
        verdict=verdict,
        reason=reason,
        part_field=part_field,
        zone_field=zone_field,
        at_rest_mm=_swept(zone, part, PairMotion(), TOLERANCE_MM).clearance,
        worst_part_pose=part_pose @ registration.T_bay_part,
        worst_zone_pose=zone_pose,
    )


def colour_cap(gap_mm: float, found: Sweep) -> float:
    """Return the clearance beyond which colours do not change, mm, never below the worst one."""
    return max(2.2 * gap_mm, gap_mm + 5.0, found.clearance.upper + 5.0)


def _body(zone: Zone) -> Mesh | Array:
    if zone.mesh is not None:
        return zone.mesh
    assert zone.points is not None
    return zone.points


def _swept(zone: Zone, part: Part, motion: PairMotion, tolerance_mm: float) -> Sweep:
    """Sweep, widening the bound by what facets stand outside the round body they replace."""
    found = sweep(part.mesh, part.closed, _body(zone), zone.closed, motion, tolerance_mm)
    clearance = found.clearance
    return replace(found, clearance=Bound(clearance.lower, clearance.upper + zone.facet_mm))


def _nearest_raw(zone: Zone, part: Part, motion: PairMotion, found: Sweep) -> float | None:
    """Smallest clearance with the stray points counted in, mm (upper bound); None for a zone without points."""
    if zone.points is None:
        return None
    if not len(zone.stray_points):
        return found.clearance.upper
    return min(found.clearance.upper, least_sampled(part.mesh, zone.stray_points, motion))


def nearest_unclaimed(unclaimed: Array, part: Part, rock: Rock | None, results: Sequence[ZoneResult]) -> float | None:
    """Clearance, mm, to scan points of no zone, if it may be less than the largest gap and guard; else None.

    A point of no zone has no gap of its own, so the largest one is taken. What it rides on is not
    known: it is moved against the part, which includes standing still.
    """
    if not len(unclaimed):
        return None
    needed = max(r.zone.gap_mm + r.budget.guard for r in results)
    other = "chassis" if part.rides == "engine" else "engine"
    found = sweep(part.mesh, part.closed, unclaimed, False, pair_motion(part.rides, other, rock), COARSE_MM)
    return found.clearance.upper if found.clearance.lower < needed else None
