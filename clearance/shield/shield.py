"""The shield study, step by step: place, lay out, temperatures, the gaps they ask for, and what needs a shield."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from clearance.errors import InputError
from clearance.heat.emissivity import emissivity_of
from clearance.heat.neighbour import Neighbour, Source
from clearance.heat.source import source_of
from clearance.heat.surface_temperature import Surroundings
from clearance.job.heat import Heat, Shield
from clearance.job.schema import Job
from clearance.job.schema import Zone as ZoneTable
from clearance.layout.layout import lay_out
from clearance.layout.placement import Progress, place
from clearance.motion.pair import PairMotion
from clearance.pipeline import judge
from clearance.shield.behind import Behind
from clearance.shield.fitted import fitted
from clearance.shield.result import DRIVING, SOAK, Need, ShieldResult, ZoneHeat
from clearance.shield.sightlines import sightlines
from clearance.shield.surface import Mask, face_areas
from clearance.shield.zone_heat import zone_heat
from clearance.units import kelvin

SHARE = 0.95
"""Share of what the too hot points get from the part that the triangles behind a shield send them."""

HOTTEST_C = 5.0
"""Points so little cooler than the hottest count with it."""

MOST_HOT = 3000
"""Too hot points, near enough, of a zone that are asked what heats them."""


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
    checked = judge(placed, layout, progress)
    zones, near, arounds = list[ZoneHeat](), dict[str, Neighbour](), _surroundings(heat)
    for judged in checked.zones:
        if (zone := judged.zone).table in limits:
            progress(f"{zone.name}: temperatures and gaps")
            found, near[zone.name] = zone_heat(zone, limits[zone.table], job, judged, source, arounds)
            zones.append(found)
    guards = {judged.zone.name: judged.budget.guard for judged in checked.zones}
    hot = _too_hot(zones, near, layout.motions)
    made, behind_C = None, dict[str, dict[str, float]]()
    if hot:
        needed, lines = _needed([own for own, _ in hot], source), sightlines(hot, source)
        made = fitted(layout, job, about, needed, lines, guards, source.up, progress)
        if made.blank.panels:
            progress("working out how hot it gets behind the blank")
            behind = Behind(source, made.blank.solid)
            behind_C = {name: behind.hottest_C(own, layout.motions[name], arounds) for name, own in near.items()}
    timing = {"total": time.perf_counter() - started}
    return ShieldResult(
        job=job,
        about=about,
        layout=layout,
        checked=replace(checked, timing_s=timing),
        zones=tuple(zones),
        left_out=tuple(zone.name for zone in job.zones if zone.name not in limits),
        part_emissivity=emissivity_of(heat.emissivity, job.file, "heat.emissivity"),
        sheet_emissivity=emissivity_of(about.emissivity, job.file, "shield.emissivity"),
        notes=(growth.warning,) if (growth := layout.setting.growth) is not None and growth.warning else (),
        fitted=made,
        behind_C=behind_C,
        timing_s=timing,
        versions=checked.versions,
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
    return job.heat, limits


def _surroundings(heat: Heat) -> dict[str, Surroundings]:
    """Return the conditions: driving, where the job has an air speed, and soak."""
    soak = Surroundings(ambient_K=kelvin(heat.ambient))
    if heat.air_speed == 0:
        return {SOAK: soak}
    return {DRIVING: Surroundings(ambient_K=kelvin(heat.ambient), speed_m_s=heat.air_speed), SOAK: soak}


def _too_hot(
    zones: Sequence[ZoneHeat], near: Mapping[str, Neighbour], motions: Mapping[str, PairMotion]
) -> list[tuple[Neighbour, PairMotion]]:
    """Return of each zone that is not well bare the points that get too hot, and how it moves.

    Where none does at rest, but some will over the motion, the hottest are taken.
    """
    hot = []
    for zone in zones:
        if zone.need is not Need.NOTHING:
            least = min(zone.limit_C, zone.sampled_C - HOTTEST_C)
            hot.append((near[zone.name].at(np.flatnonzero(zone.temperature_C > least)), motions[zone.name]))
    return hot


def _needed(hot: Sequence[Neighbour], source: Source) -> Mask:
    """Tell the part's triangles, (m,) bool, that send the too hot points `SHARE` of what they get from it."""
    count = np.zeros(len(source.part.mesh.faces))
    for near in hot:
        step = max(1, len(near.points) // MOST_HOT)
        count += source.part.sight.met(near.points[::step], near.normals[::step])
    power = count * source.part.temperature_K**4
    order = np.argsort(-power / np.maximum(face_areas(source.part.mesh), 1e-300))
    kept = order[: int(np.searchsorted(np.cumsum(power[order]), SHARE * power.sum())) + 1]
    needed = np.zeros(len(power), dtype=bool)
    needed[kept] = True
    return needed
