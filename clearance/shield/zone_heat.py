"""One neighbour with a limit: how hot it gets as it stands, the gaps it needs, and whether they are there."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from clearance.frames import Array
from clearance.heat.emissivity import emissivity_of
from clearance.heat.limits import limit_of
from clearance.heat.neighbour import Neighbour, Source, heated_length_m, looked, neighbour_of, temperatures
from clearance.heat.surface_temperature import Surroundings
from clearance.job.schema import Job
from clearance.job.schema import Zone as ZoneTable
from clearance.scene.zone import Zone
from clearance.shield.result import SOAK, Gap, Need, ZoneHeat
from clearance.shield.sizing import Mover, hottest_K, mover, smallest_gap
from clearance.units import celsius, kelvin
from clearance.verdict.result import ZoneResult

EXACT = 8
"""Hottest points of the map whose view factors are integrated."""


def zone_heat(
    zone: Zone, table: ZoneTable, job: Job, judged: ZoneResult, source: Source, arounds: Mapping[str, Surroundings]
) -> tuple[ZoneHeat, Neighbour]:
    """Work one zone out; also return its surface points, whose temperatures bare are those of the result.

    Parameters
    ----------
    table : the job's [[zone]] that it comes from
    judged : its certified clearance
    arounds : conditions by name, `SOAK` last
    """
    assert table.limit is not None
    limit_C, limit_from = limit_of(table.limit, job.file, f"zone '{zone.name}': limit")
    emissivity, emissivity_from = emissivity_of(table.emissivity, job.file, f"zone '{zone.name}': emissivity")
    limit_K = kelvin(limit_C)
    near = neighbour_of(zone, source.surface, emissivity)
    seen = looked(near, source, behind=False)
    map_K = temperatures(near, source, arounds[SOAK], behind=False, seen=seen)
    moved = mover(near, map_K)
    number, bare_K, factor = _hottest(near, map_K, source, arounds, heated_length_m(near, seen))
    behind_K = hottest_K(moved.neighbour, source, tuple(arounds.values()), behind=True)
    bare = _gaps(moved, source, arounds, limit_K, behind=False)
    shielded = _gaps(moved, source, arounds, limit_K, behind=True)
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
    ), near


def _gaps(
    moved: Mover, source: Source, arounds: Mapping[str, Surroundings], limit_K: float, *, behind: bool
) -> dict[str, Gap]:
    return {name: smallest_gap(moved, source, around, limit_K, behind=behind) for name, around in arounds.items()}


def _hottest(
    near: Neighbour, map_K: Array, source: Source, arounds: Mapping[str, Surroundings], length_m: float
) -> tuple[int, list[float], float]:
    """Integrate the view factors of the map's hottest points; return the hottest, its temperatures, its view factor."""
    some = np.argsort(-map_K)[:EXACT]
    few = near.at(some)
    seen = source.part.integrated(few.points, few.normals)
    by_around = [
        temperatures(few, source, around, behind=False, seen=seen, length_m=length_m) for around in arounds.values()
    ]
    worst = int(by_around[-1].argmax())
    return int(some[worst]), [float(t[worst]) for t in by_around], float(seen.factor[worst])


def _need(bare: dict[str, Gap], shielded: dict[str, Gap], available_mm: float) -> Need:
    """Every condition must be met."""
    if all(gap.kept_by(available_mm) for gap in bare.values()):
        return Need.NOTHING
    return Need.SHIELD if all(gap.kept_by(available_mm) for gap in shielded.values()) else Need.MORE_ROOM
