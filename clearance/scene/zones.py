"""Zones from the job: scan points caught in a net, meshes, solid primitives, and the rest."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearance.errors import InputError
from clearance.frames import Array
from clearance.job.schema import Job
from clearance.job.schema import Zone as ZoneTable
from clearance.job.where import Rod, Where
from clearance.scene.beside import beside_of, moves_by_itself
from clearance.scene.fit_cylinder import fit_cylinder
from clearance.scene.mesh_health import closed
from clearance.scene.mesh_io import read_mesh
from clearance.scene.peeled import Peeled
from clearance.scene.primitives import inside_of, solid_mesh
from clearance.scene.refine import edge_limit, refined
from clearance.scene.scan import Scan
from clearance.scene.winding import outward, wound_alike
from clearance.scene.zone import Zone

EDGE_MM = 8.0
"""Edges of mesh zones are split to this, so that colours have somewhere to sit."""

ASKED = 20_000
"""Points of a zone asked how near they are."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Zones:
    """All zones of a job and the scan points that no zone claims.

    Attributes
    ----------
    zones : tuple of Zone, in the job's order
    unclaimed : (k, 3) float64, bay frame, mm; stray points too, for no zone tells of them
    unclaimed_spacing_mm : (k,) float64, local spacing, 0 for strays; None: taken as 0
    left_out : by name the (m, 3) points that the job leaves out, strays too
    """

    zones: tuple[Zone, ...]
    unclaimed: Array
    unclaimed_spacing_mm: Array | None = None
    left_out: Mapping[str, Array] = field(default_factory=dict)


def build_zones(job: Job, scan: Scan | None, peeled: Peeled | None = None) -> Zones:
    """Build every zone of the job, bay frame, neutral pose.

    A point in several zones counts in each. A table gives more than one zone where some of its
    points lie on the engine (`peeled`) or are not of the shaft that was fitted. Raises InputError,
    naming the zone, where a zone has no scan points or its mesh cannot be read, and where nothing lies in a place
    that is to be left out.
    """
    points = scan.points if scan is not None else np.zeros((0, 3))
    caught = {z.name: inside_of(z.where, points) for z in job.zones if not z.where.is_body and not z.where.rest}
    taken = np.zeros(len(points), dtype=bool)
    for mask in caught.values():
        taken |= mask
    left_out, free = _left_out(job, points, ~taken)
    still = next((table for table in job.zones if table.where.rest), None)
    built, has_rest = [], False
    for table in job.zones:
        if table.where.is_body:
            if table.fit is not None:
                key = f"zone '{table.name}': fit"
                raise InputError(job.file, "the zone is a body already", "leave fit out, or solid or file", key)
            built.append(_body_zone(job, table))
            continue
        has_rest |= table.where.rest
        mask = free if table.where.rest else caught[table.name]
        own = _point_zones(job, table, scan, mask, peeled)
        if scan is not None and moves_by_itself(table):
            told = ~free & ~taken if peeled is None else (~free & ~taken) | peeled.on_engine
            told = told | free if still is not None and moves_by_itself(still) else told
            others = [other for name, other in caught.items() if name != table.name]
            own[0] = replace(own[0], beside=beside_of(table, scan, mask, others, told))
        built += own
    kept = np.zeros(len(points), dtype=bool) if has_rest else free
    spacing = None if scan is None else np.where(scan.stray, 0.0, scan.spacing_mm.astype(np.float64))[kept]
    return Zones(tuple(built), points[kept], spacing, left_out)


def _left_out(job: Job, points: Array, free: Mask) -> tuple[dict[str, Array], Mask]:
    """Return by name which of the `free` points (no zone's by a shape) the job leaves out, and which are left then."""
    found, left = dict[str, Array](), free.copy()
    for table in job.bay.left_out if job.bay is not None else ():
        mask = inside_of(table.where, points) & free
        if not mask.any():
            told = "no scan point lies in it that no zone holds by a box or other shape of its own"
            raise InputError(job.file, told, "move the place, or take it away", f"bay.left_out '{table.name}'")
        found[table.name] = points[mask]
        left &= ~mask
    return found, left


def nearest_of_zones(job: Job, scan: Scan, places: Array) -> dict[str, float]:
    """Return by its name an upper bound of how near each zone of scan points comes to (n, 3) places, bay frame, mm.

    Only the points nearest to the box about the places are asked.
    """
    low, high = places.min(axis=0), places.max(axis=0)
    caught = {z.name: inside_of(z.where, scan.points) for z in job.zones if not z.where.is_body and not z.where.rest}
    rest = ~np.logical_or.reduce([np.zeros(len(scan.points), dtype=bool), *caught.values()])
    caught |= {z.name: rest for z in job.zones if z.where.rest}
    tree = cKDTree(places, balanced_tree=False, compact_nodes=False)
    away = {}
    for name, mask in caught.items():
        found = scan.points[mask & ~scan.stray]
        if len(found):
            outside = np.linalg.norm(np.maximum(np.maximum(low - found, found - high), 0.0), axis=1)
            nearest = found[np.argsort(outside, kind="stable")[:ASKED]] if len(found) > ASKED else found
            away[name] = float(np.min(tree.query(nearest, workers=-1)[0]))
    return away


def _point_zones(job: Job, table: ZoneTable, scan: Scan | None, mask: Mask, peeled: Peeled | None) -> list[Zone]:
    """Return the zone of the points in `mask`, and one of those that lie on the engine where it does not ride there."""
    key = f"zone '{table.name}': where"
    if scan is None:
        raise InputError(job.file, "needs scan points but the job has no [bay]", "add [bay] or make it a body", key)
    if not (mask & ~scan.stray).any():
        raise InputError(job.file, *_why_empty(table, scan, int((mask & scan.stray).sum())), key)
    if peeled is None or table.rides == "engine":
        return _still_zones(job, table, scan, mask)
    rides = mask & peeled.rides
    stays = mask & peeled.stays
    zones = _still_zones(job, table, scan, stays) if (stays & ~scan.stray).any() else []
    if (rides & ~scan.stray).any():
        zones.append(_points(table, scan, rides, name=f"{table.name}, on the engine", rides="engine"))
    return zones


def _still_zones(job: Job, table: ZoneTable, scan: Scan, mask: Mask) -> list[Zone]:
    """Return the zone of points, or the shaft fitted to them and what stands beside it."""
    if table.fit is None:
        return [_points(table, scan, mask)]
    decided = np.flatnonzero(mask & ~scan.stray)
    fit, explained = fit_cylinder(scan.points[decided], scan.noise_mm, job.file, table.name)
    rod = Rod.model_validate({"from": fit.from_.tolist(), "to": fit.to.tolist(), "diameter": 2 * fit.radius_mm})
    mesh, facet = solid_mesh(Where.model_validate({"cylinder": rod, "solid": True}))
    shaft = Zone(
        **_common(table),
        stray_points=scan.points[mask & scan.stray],
        mesh=mesh,
        shown=refined(mesh, edge_limit(mesh, EDGE_MM)),
        closed=True,
        facet_mm=facet,
        fit=fit,
        fit_sigma_mm=fit.sigma_surface_mm,
    )
    if explained.all():
        return [shaft]
    beside = np.zeros(len(mask), dtype=bool)
    beside[decided[~explained]] = True
    return [shaft, _points(table, scan, beside, name=f"{table.name}, beside the shaft")]


def _points(table: ZoneTable, scan: Scan, mask: Mask, **other: str) -> Zone:
    """Return the points in `mask` as a zone, named and carried as the table says or `other` does."""
    decided = mask & ~scan.stray
    return Zone(
        **(_common(table) | other),
        points=scan.points[decided],
        raw_points=scan.as_scanned[mask],
        spacing_mm=scan.spacing_mm[decided],
        stray_points=scan.points[mask & scan.stray],
    )


def _why_empty(table: ZoneTable, scan: Scan, strays: int) -> tuple[str, str]:
    if strays:
        return f"holds only {strays} stray point(s) that nothing supports", "scan this place again or move the zone"
    if table.where.rest:
        return "every scan point is in another zone", "leave this zone out or make the others smaller"
    middle, _ = solid_mesh(table.where)
    gap, index = cKDTree(scan.points).query(middle.vertices.mean(axis=0))
    near = ", ".join(f"{x:.1f}" for x in scan.points[index])
    low, high = scan.points.min(axis=0), scan.points.max(axis=0)
    extent = " to ".join("[" + ", ".join(f"{x:.0f}" for x in corner) + "]" for corner in (low, high))
    return (
        f"no scan point lies inside; the nearest to its middle is {gap:.1f} mm away at [{near}], "
        f"the scan spans {extent} mm",
        "check the numbers, their unit (mm) and the unit of [bay]",
    )


def _body_zone(job: Job, table: ZoneTable) -> Zone:
    where, facet = table.where, 0.0
    if where.file is not None and where.unit is not None:
        key = f"zone '{table.name}': where.file"
        mesh = wound_alike(read_mesh(job.path(where.file), where.unit, key=key, where=job.file))
        solid = closed(mesh)
        mesh = outward(mesh) if solid else mesh
    else:
        mesh, facet = solid_mesh(where)
        solid = True
    return Zone(
        **_common(table),
        stray_points=np.zeros((0, 3)),
        mesh=mesh,
        shown=refined(mesh, edge_limit(mesh, EDGE_MM)),
        closed=solid,
        facet_mm=facet,
    )


def _common(table: ZoneTable) -> dict[str, Any]:
    return {
        "name": table.name,
        "table": table.name,
        "kind": table.kind,
        "rides": table.rides,
        "gap_mm": table.required_gap,
        "shielded": table.shielded,
    }
