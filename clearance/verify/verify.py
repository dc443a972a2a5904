"""Verify a finished report: files by hash, everything else by working it out again."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from clearance.errors import InputError
from clearance.frames import Pose
from clearance.job.read import read_job
from clearance.job.schema import Job
from clearance.job.schema import Zone as ZoneTable
from clearance.layout.layout import Layout, lay_out, unseen_near
from clearance.layout.placement import Placement, place
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.scene.zone import Zone
from clearance.scene.zones import Zones
from clearance.verdict.beside import moved_along
from clearance.verify.claims import Claims, ZoneClaim, read_claims
from clearance.verify.doubts import comes_within
from clearance.verify.files import input_faults, output_faults
from clearance.verify.grown import growth_faults
from clearance.verify.numbers import job_faults
from clearance.verify.paths import path_of
from clearance.verify.rebuilt import Rebuilt, mesh_left_out, points_left_out, rebuild
from clearance.verify.result import Verification, ZoneProof
from clearance.verify.zones import Setting, prove_zone

ACCESS = "what came of each [[access]] was taken as the report says it: it was not worked out again"

PLACE_MM, SOUGHT_MM = 1e-6, 1e-3
"""A placement found again may move no point of the part by more; the second where it was sought in the scan by
iteration, whose sums several threads do not always add in the same order."""

BY_HASH = "report.html, pictures, meshes and worst_points.csv were compared by SHA-256 only"
SHARED = (
    "reading files, conditioning the scan, placing the part, telling what lies on the engine, looking for what the "
    "scan missed and for what stands beside a moving zone's place is the same code that `check` runs, and so are the "
    "table of materials and the limits of what may touch; zones are cut out of the scan by that code too, but that "
    "none of their points is missing was asked afresh"
)


def verify(folder: Path, progress: Callable[[str], None] = lambda step: None) -> Verification:
    """Prove a report again from its inputs.

    Raises
    ------
    InputError
        If `folder` is no report or the inputs cannot be read.
    """
    claims = read_claims(folder)
    progress("comparing files")
    job = read_job(folder / "job.toml")
    faults = output_faults(claims) + input_faults(claims, job)
    try:
        placed = place(folder / "job.toml", progress)
        off = _placement_faults(claims, placed.registration, placed.part.mesh)
        placed = placed if off else _as_claimed(placed, claims)
        scene = lay_out(placed)
        rebuilt = rebuild(placed, scene, claims.certificate)
    except InputError as fault:
        if not faults:
            raise
        return Verification(zones=(), faults=(*faults, f"the scene cannot be rebuilt: {fault}"))
    faults += off
    faults += job_faults(claims.report, [zone.name for zone in scene.zones.zones], placed.registration.converged)
    faults += growth_faults(claims.certificate, rebuilt.setting.growing)
    faults += points_left_out(rebuilt, claims.certificate)
    proofs, own = _proofs(claims, rebuilt, progress)
    faults += own
    if claims.report.verdict == "pass":
        faults += _unclaimed(rebuilt.setting, scene.zones, claims.report.zones)
        needed = {zone.name: zone.gap_mm for zone in scene.zones.zones}
        needed |= {row.name: row.required_gap_mm + row.budget_mm.guard for row in claims.report.zones}
        faults += [f"{place.zone}: {place.advice}" for place in unseen_near(scene, job, needed)]
        faults += _beside(scene, needed)
    return Verification(
        zones=tuple(proofs), faults=tuple(faults), notes=(BY_HASH, SHARED, *([ACCESS] if job.access else []))
    )


def _proofs(claims: Claims, rebuilt: Rebuilt, progress: Callable[[str], None]) -> tuple[list[ZoneProof], list[str]]:
    """Prove every zone of the scene; return the proofs and what does not hold."""
    proofs: list[ZoneProof] = []
    rows = {row.name: row for row in claims.report.zones}
    entries = {entry.name: entry for entry in claims.certificate.zones}
    faults = [f"{name}: the certificate has this zone, the job does not" for name in entries.keys() - rows.keys()]
    for zone in rebuilt.scene.zones.zones:
        table = _table(rebuilt.setting.job, zone)
        row, entry = rows.get(zone.name), entries.get(zone.name)
        if entry is None:
            faults.append(f"{zone.name}: it has no certificate")
        if row is None or entry is None:
            continue
        progress(f"proving {zone.name}")
        masked, lacking = mesh_left_out(rebuilt, zone, table, entry)
        faults += [f"{zone.name}: {fault}" for fault in masked]
        proof, own = prove_zone(rebuilt.setting, zone, table, row, entry, rebuilt.refits.get(zone.name), lacking)
        proofs.append(proof)
        faults += own
    return proofs, faults


def _table(job: Job, zone: Zone) -> ZoneTable:
    """Return the job's table of a zone; of points peeled off onto the engine, with that for their motion."""
    table = next(table for table in job.zones if table.name == zone.table)
    if table.rides == zone.rides:
        return table
    return table.model_copy(update={"rides": zone.rides, "travel": None, "stroke": None})


def _placement_faults(claims: Claims, found: Registration, part: Mesh) -> list[str]:
    """The part must come to lie where the report and its certificate say, as surely as they say."""
    faults, said = [], claims.report.registration
    for name, matrix in (("report", said.T_bay_part), ("certificate", claims.certificate.T_bay_part)):
        claimed = np.array(matrix)
        if not np.allclose(claimed[3], (0, 0, 0, 1), rtol=0, atol=1e-12):
            faults.append(f"the T_bay_part of the {name} is no rigid motion")
        moved = part.vertices @ claimed[:3, :3].T + claimed[:3, 3]
        off = float(np.linalg.norm(moved - found.T_bay_part.apply(part.vertices), axis=1).max())
        if off > (SOUGHT_MM if found.method.startswith("shape") or "refine" in found.method else PLACE_MM):
            faults.append(f"the {name} places the part {off:.3g} mm away from where the job's registration does")
    if said.method != found.method or said.converged != found.converged:
        faults.append("the report's registration is not the job's")
    return faults


def _as_claimed(placed: Placement, claims: Claims) -> Placement:
    """Return the placement with the certificate's pose, which was found to agree, so that its points are exact."""
    try:
        pose = Pose("bay", "part", np.array(claims.certificate.T_bay_part))
    except ValueError:
        return placed
    return replace(placed, registration=replace(placed.registration, T_bay_part=pose))


def _beside(scene: Layout, needed_mm: Mapping[str, float]) -> list[str]:
    """What stands beside a moving zone's place must keep the gap if it moves along."""
    found = {
        zone.name: moved_along(
            zone.beside,
            scene.setting.part,
            scene.motions[zone.name],
            needed_mm[zone.name] + scene.setting.unlike_mm(1.0),
        )
        for zone in scene.zones.zones
    }
    return [f"{name}: {why}" for name, why in found.items() if why]


def _unclaimed(setting: Setting, zones: Zones, rows: tuple[ZoneClaim, ...]) -> list[str]:
    """A job passes only if scan points of no zone keep the largest gap and guard; they move against the part."""
    other = "chassis" if setting.job.part.rides == "engine" else "engine"
    table = setting.job.zones[0].model_copy(update={"rides": other, "travel": None, "stroke": None})
    path = path_of(setting.job, table, setting.origin)
    needed = max((row.required_gap_mm + row.budget_mm.guard for row in rows), default=0.0)
    if comes_within(setting.target, path, zones.unclaimed - setting.origin, needed, setting.factors):
        return ["scan points of no zone come nearer than the report may pass with"]
    return []
