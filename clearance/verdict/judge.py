"""One zone from bodies to verdict: sweep it, at rest and over the motion, colour it, weigh it, decide."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from clearance.bounds import Bound
from clearance.frames import Array
from clearance.heat.grown_sweep import sweep_grown
from clearance.heat.growth import grown_part
from clearance.motion.bodies import corners
from clearance.motion.field import each_sampled, fields, may_come_within
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.result import Sweep
from clearance.motion.sweep import sweep
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.zone import Zone
from clearance.unseen.result import Unseen
from clearance.verdict.beside import moved_along
from clearance.verdict.budget import budget
from clearance.verdict.decide import decide_zone
from clearance.verdict.enclosed import enclosed, entered, within_open_part
from clearance.verdict.obstacles import classes_of, guard_over, unclaimed_zone
from clearance.verdict.result import Budget, Verdict, ZoneResult
from clearance.verdict.setting import Setting
from clearance.verdict.suspects import unproven_stray

TOLERANCE_MM = 0.02
"""Width of the certified bound aimed at."""

COARSE_MM = 0.5
"""Width of the bound on points of no zone."""


def judge_zone(zone: Zone, motion: PairMotion, setting: Setting) -> ZoneResult:
    """Return the full result of one zone that moves by `motion` against the part."""
    found, factor, hot, sweeps = _worst(zone, motion, setting)
    part = _grown(setting, factor)
    shown = zone.shown if zone.shown is not None else _body(zone)
    part_field, zone_field = fields(part.shown, shown, zone.closed, motion, colour_cap(zone.gap_mm, found))
    weighed = budget(
        zone=zone, sweep=found, part=part, factor=factor, part_field=part_field, motion=motion, setting=setting
    )
    verdict, reason = decide_zone(found.clearance, zone.gap_mm, weighed, setting.registration)
    if verdict is Verdict.PASS and (doubt := _doubt(zone, part, factor, motion, weighed, found, setting)):
        verdict, reason = Verdict.UNDECIDED, doubt
    part_pose, zone_pose = motion.poses(found.worst)
    nearest_raw_mm, nearest_raw = _nearest_raw(zone, part, motion, found)
    return ZoneResult(
        zone=zone,
        sweep=found,
        nearest_raw_point_mm=nearest_raw_mm,
        nearest_raw_point=nearest_raw,
        budget=weighed,
        hot=hot,
        factor=factor,
        sweeps=sweeps,
        verdict=verdict,
        reason=reason,
        part_field=part_field,
        zone_field=zone_field,
        at_rest_mm=_swept(zone, setting.part, PairMotion()).clearance,
        worst_part_pose=part_pose @ setting.registration.T_bay_part,
        worst_zone_pose=zone_pose,
    )


def _worst(
    zone: Zone, motion: PairMotion, setting: Setting
) -> tuple[Sweep, float, bool, tuple[tuple[float, Sweep], ...]]:
    """Sweep at every temperature: the worst sweep with the bound of all, its factor, whether hot, what proves it."""
    part = setting.part
    if setting.growth is None:
        found = _swept(zone, part, motion)
        return found, 1.0, False, ((1.0, found),)
    grown = sweep_grown(part.mesh, part.closed, _body(zone), zone.closed, motion, setting.growth)
    found = replace(grown.worst, clearance=_widened(grown.clearance, zone))
    sweeps = tuple((k, replace(made, clearance=_widened(made.clearance, zone))) for k, made in grown.certificate)
    return found, grown.factor, grown.hot, sweeps


def _grown(setting: Setting, factor: float) -> Part:
    return setting.part if setting.growth is None else grown_part(setting.part, setting.growth.anchor, factor)


def _doubt(
    zone: Zone, part: Part, factor: float, motion: PairMotion, weighed: Budget, found: Sweep, setting: Setting
) -> str | None:
    """Return why a zone that keeps its gap does not pass all the same, None if it does."""
    if why := enclosed(zone, part.mesh) or within_open_part(corners(_body(zone)), part, found.clearance.lower):
        return why
    if why := entered(zone, part, motion):
        return why
    needed = zone.gap_mm + weighed.guard + setting.unlike_mm(factor)
    if why := moved_along(zone.beside, part, motion, needed):
        return why
    scan = setting.scan
    others = None if scan is None else scan.points[scan.stray]
    return unproven_stray(zone.stray_points, part.mesh, motion, needed, others)


def colour_cap(gap_mm: float, found: Sweep) -> float:
    """Return the clearance beyond which colours do not change, mm, never below the worst one."""
    return max(2.2 * gap_mm, gap_mm + 5.0, found.clearance.upper + 5.0)


def _body(zone: Zone) -> Mesh | Array:
    if zone.mesh is not None:
        return zone.mesh
    assert zone.points is not None
    return zone.points


def _swept(zone: Zone, part: Part, motion: PairMotion) -> Sweep:
    found = sweep(part.mesh, part.closed, _body(zone), zone.closed, motion, TOLERANCE_MM)
    return replace(found, clearance=_widened(found.clearance, zone))


def _widened(clearance: Bound, zone: Zone) -> Bound:
    """Widen a bound by what facets stand outside the round body they replace."""
    return Bound(clearance.lower, clearance.upper + zone.facet_mm)


def _nearest_raw(zone: Zone, part: Part, motion: PairMotion, found: Sweep) -> tuple[float | None, Array | None]:
    """Smallest clearance to the points as scanned, strays too, mm (upper bound), and the point if it is below `found`.

    None for a zone without points.
    """
    if zone.points is None:
        return None, None
    raw = zone.stray_points if zone.raw_points is None else zone.raw_points
    upper = found.clearance.upper
    raw = raw[may_come_within(part.mesh, raw, motion, upper)] if len(raw) else raw
    if not len(raw):
        return upper, None
    each = each_sampled(part.mesh, raw, motion, upper)
    at = int(each.argmin())
    least = float(each[at])
    return (least, raw[at]) if least < upper else (upper, None)


def nearest_unclaimed(
    unclaimed: Array, setting: Setting, results: Sequence[ZoneResult], spacing_mm: Array | None = None
) -> float | None:
    """Clearance, mm, to scan points of no zone, if it may be less than the largest gap and guard; else None.

    A point of no zone has no gap of its own, so the largest one is taken. What it rides on is not
    known: it is moved against the part, which includes standing still. Its guard is that of a zone of scan points
    anywhere on the part: the zones' own say nothing of it where they are bodies, or lie where the part's place is
    better known. `spacing_mm` (n,): how far from each point its surface may go on without another.
    """
    if not len(unclaimed):
        return None
    part, unlike = setting.part, setting.unlike_mm(1.0)
    lone = unclaimed_zone(unclaimed, spacing_mm, max(r.zone.gap_mm for r in results))
    own = lone.gap_mm + guard_over(lone, setting, part.mesh.vertices) + unlike
    needed = max(own, max(r.zone.gap_mm + r.budget.guard for r in results) + unlike)
    other = "chassis" if part.rides == "engine" else "engine"
    motion = pair_motion(part.rides, other, setting.rock)
    found = sweep(part.mesh, part.closed, unclaimed, False, motion, COARSE_MM).clearance
    if within_open_part(unclaimed, part, found.lower):
        return 0.0
    if found.lower < needed:
        return found.upper
    for points, widest in classes_of(lone, COARSE_MM):
        if found.lower < own + widest:
            near = sweep(part.mesh, part.closed, points, False, motion, COARSE_MM).clearance
            if near.lower < own + widest:
                return near.upper
    return None


def with_unseen(results: Sequence[ZoneResult], unseen: Sequence[Unseen]) -> tuple[ZoneResult, ...]:
    """Return the results with every pass taken back where something nearer than needed may stand unseen."""
    first = {place.zone: place for place in reversed(unseen)}
    return tuple(
        replace(r, verdict=Verdict.UNDECIDED, reason=first[r.zone.name].advice)
        if r.verdict is Verdict.PASS and r.zone.name in first
        else r
        for r in results
    )
