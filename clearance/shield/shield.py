"""The shield study, step by step: place, lay out, temperatures, the gaps they ask for, and what needs a shield."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from clearance.errors import InputError
from clearance.heat.emissivity import emissivity_of
from clearance.heat.limits import limit_of
from clearance.heat.neighbour import Neighbour, Source, looked, neighbour_of, temperatures
from clearance.heat.sight import RAYS
from clearance.heat.source import source_of
from clearance.heat.surface_temperature import Surroundings
from clearance.job.heat import Heat, Shield
from clearance.job.schema import Job
from clearance.job.schema import Zone as ZoneTable
from clearance.layout.layout import Layout, lay_out
from clearance.layout.placement import Progress, place
from clearance.provenance import versions
from clearance.scene.zone import Zone
from clearance.shield.result import DRIVING, SOAK, Gap, Mask, Need, ShieldResult, ZoneHeat
from clearance.shield.sizing import Mover, hottest_K, mover, smallest_gap
from clearance.units import celsius, kelvin
from clearance.verdict.judge import judge_zone

SHARE = 0.95
"""Share of what the too hot points get from the part that the triangles behind a shield send them."""

MOST_HOT = 3000
EXACT = 8
"""Hottest points of the map whose view factors are integrated."""


def shield(job_file: Path, progress: Progress = lambda step: None) -> ShieldResult:
    """Return the gaps that the job's zones need of its hot part, bare and shielded.

    Raises
    ------
    InputError
        For any fault of the job or its files; a job without [heat] or without any zone with a limit.
    """
    started = time.perf_counter()
    placed = place(job_file, progress)
    job = placed.job
    heat, limits = _asked(job)
    about = job.shield if job.shield is not None else Shield.model_validate({})
    progress("laying out the zones")
    layout = lay_out(placed)
    progress("making the part a source of heat")
    source = source_of(job, heat, about, layout.setting.part.shown, layout.setting.registration.T_bay_part)
    arounds = _surroundings(heat)
    zones, hot = [], list[Neighbour]()
    for zone in layout.zones.zones:
        if zone.table not in limits:
            continue
        progress(f"{zone.name}: temperatures and gaps")
        found, too_hot = _zone(zone, limits[zone.table], job, layout, source, arounds)
        zones.append(found)
        hot += [too_hot] if found.need is not Need.NOTHING else []
    growth = layout.setting.growth
    return ShieldResult(
        job=job,
        about=about,
        layout=layout,
        zones=tuple(zones),
        left_out=tuple(zone.name for zone in job.zones if zone.name not in limits),
        part_emissivity=emissivity_of(heat.emissivity, job.file, "heat.emissivity"),
        sheet_emissivity=emissivity_of(about.emissivity, job.file, "shield.emissivity"),
        notes=(growth.warning,) if growth is not None and growth.warning else (),
        needs=_needs(hot, source) if hot else None,
        timing_s={"total": time.perf_counter() - started},
        versions=versions(),
    )


def _asked(job: Job) -> tuple[Heat, dict[str, ZoneTable]]:
    """Return the job's [heat] and its zones with a limit. Raises InputError where there are none."""
    if job.heat is None:
        wanted = "add [heat] with part_temperature, ambient and anchor; `clearance new --keys` tells its keys"
        raise InputError(job.file, "no [heat]: nothing is known of temperatures", wanted, "heat")
    limits = {zone.name: zone for zone in job.zones if zone.limit is not None}
    if not limits:
        wanted = 'add to each that heat may harm what it stands, such as limit = 120 (°C) or limit = "brake hose"'
        raise InputError(job.file, "no zone has a limit", wanted, "zone: limit")
    for name, zone in limits.items():
        assert zone.limit is not None
        limit_of(zone.limit, job.file, f"zone '{name}': limit")
        emissivity_of(zone.emissivity, job.file, f"zone '{name}': emissivity")
    return job.heat, limits


def _surroundings(heat: Heat) -> dict[str, Surroundings]:
    """Return the conditions: driving, where the job has an air speed, and soak."""
    soak = Surroundings(ambient_K=kelvin(heat.ambient))
    if heat.air_speed == 0:
        return {SOAK: soak}
    return {DRIVING: Surroundings(ambient_K=kelvin(heat.ambient), speed_m_s=heat.air_speed), SOAK: soak}


def _zone(
    zone: Zone, table: ZoneTable, job: Job, layout: Layout, source: Source, arounds: dict[str, Surroundings]
) -> tuple[ZoneHeat, Neighbour]:
    """Work one zone out; also return those of its points that get too hot bare, as it stands."""
    assert table.limit is not None
    limit_C, limit_from = limit_of(table.limit, job.file, f"zone '{zone.name}': limit")
    emissivity, emissivity_from = emissivity_of(table.emissivity, job.file, f"zone '{zone.name}': emissivity")
    limit_K = kelvin(limit_C)
    near = neighbour_of(zone, source.surface, emissivity)
    seen = looked(near, source, behind=False)
    map_K = temperatures(near, source, arounds[SOAK], behind=False, seen=seen)
    moved = mover(near, map_K)
    number, bare_K, factor = _hottest(near, map_K, source, arounds)
    behind_K = hottest_K(moved.neighbour, source, tuple(arounds.values()), behind=True)
    bare = _gaps(moved, source, arounds, limit_K, behind=False)
    shielded = _gaps(moved, source, arounds, limit_K, behind=True)
    judged = judge_zone(zone, layout.motions[zone.name], layout.setting)
    available = judged.sweep.clearance.lower - judged.budget.guard
    return ZoneHeat(
        name=zone.name,
        kind=zone.kind,
        limit_C=limit_C,
        limit_from=limit_from,
        emissivity=emissivity,
        emissivity_from=emissivity_from,
        bare_C={name: celsius(t) for name, t in zip(arounds, bare_K, strict=True)},
        shielded_C={name: celsius(t) for name, t in zip(arounds, behind_K, strict=True)},
        sampled_C=celsius(float(map_K.max())),
        factor=factor,
        place=near.points[number],
        at_rest_mm=float(near.gap_mm[number]),
        bare=bare,
        shielded=shielded,
        gap_mm=table.gap,
        gap_shielded_mm=table.gap_shielded,
        shielded_now=table.shielded,
        clearance_mm=judged.sweep.clearance,
        guard_mm=judged.budget.guard,
        points=near.points,
        temperature_C=map_K - kelvin(0.0),
        need=_need(bare, shielded, available),
    ), near.at(np.flatnonzero(map_K > limit_K))


def _gaps(
    moved: Mover, source: Source, arounds: dict[str, Surroundings], limit_K: float, *, behind: bool
) -> dict[str, Gap]:
    return {name: smallest_gap(moved, source, around, limit_K, behind=behind) for name, around in arounds.items()}


def _hottest(
    near: Neighbour, map_K: np.ndarray, source: Source, arounds: dict[str, Surroundings]
) -> tuple[int, list[float], float]:
    """Integrate the view factors of the map's hottest points; return the hottest, its temperatures, its view factor."""
    some = np.argsort(-map_K)[:EXACT]
    few = near.at(some)
    seen = source.part.integrated(few.points, few.normals)
    by_around = [temperatures(few, source, around, behind=False, seen=seen) for around in arounds.values()]
    worst = int(by_around[-1].argmax())
    return int(some[worst]), [float(t[worst]) for t in by_around], float(seen.factor[worst])


def _need(bare: dict[str, Gap], shielded: dict[str, Gap], available_mm: float) -> Need:
    """Every condition must be met."""
    if all(gap.kept_by(available_mm) for gap in bare.values()):
        return Need.NOTHING
    return Need.SHIELD if all(gap.kept_by(available_mm) for gap in shielded.values()) else Need.MORE_ROOM


def _needs(hot: Sequence[Neighbour], source: Source) -> Mask:
    """Tell the corners, (n,) bool, of the part's triangles that send the too hot points `SHARE` of what they get."""
    count = np.zeros(len(source.part.mesh.faces))
    for near in hot:
        step = max(1, len(near.points) // MOST_HOT)
        count += source.part.sight.met(near.points[::step], near.normals[::step], RAYS)
    power = count * source.part.temperature_K**4
    corners = source.part.mesh.triangles
    area = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    order = np.argsort(-power / np.maximum(area, 1e-300))
    kept = order[: int(np.searchsorted(np.cumsum(power[order]), SHARE * power.sum())) + 1]
    needs = np.zeros(len(source.part.mesh.vertices), dtype=bool)
    needs[source.part.mesh.faces[kept]] = True
    return needs
