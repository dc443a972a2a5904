"""The scene rebuilt from the inputs, and what of it is worked out afresh: shafts fitted again, faces that may mask."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from clearance.frames import Array
from clearance.job.schema import Job
from clearance.job.schema import Zone as ZoneTable
from clearance.layout.layout import Layout
from clearance.layout.placement import Placement
from clearance.registration.peel import model_of, peel
from clearance.scene.mesh import Mesh
from clearance.scene.zone import Zone
from clearance.scene.zones import build_zones
from clearance.verify.claims import Certificate, ZoneCertificate
from clearance.verify.fitted import Refit, refit
from clearance.verify.grown import growing_of
from clearance.verify.left_out import Asked, held_by, left_out_faults
from clearance.verify.target import Target
from clearance.verify.touching import Disc, check_plain, discs_of, mesh_faults, slack_of
from clearance.verify.zones import Setting


@dataclass(frozen=True, eq=False, kw_only=True)
class Rebuilt:
    """The scene: `setting` for proofs, what faces may mask, and by a zone's name its shaft fitted again."""

    setting: Setting
    scene: Layout
    discs: tuple[Disc, ...]
    slack_mm: float
    refits: Mapping[str, Refit]


def rebuild(placed: Placement, scene: Layout, certificate: Certificate) -> Rebuilt:
    """Put together what proofs need. Raises InputError as reading the job's growth does."""
    placed = replace(placed, scan=scene.setting.scan)
    setting, entries = _setting(placed), {entry.name: entry for entry in certificate.zones}
    discs = discs_of(placed.job, placed.registration.T_bay_part)
    refits = {}
    for zone in scene.zones.zones:
        entry = entries.get(zone.name)
        if zone.fit is not None and entry is not None and entry.fit is not None:
            refits[zone.name] = refit(
                _points_of(placed, zone.table), entry.fit, setting.scan.noise_mm if setting.scan else 0.0
            )
    return Rebuilt(
        setting=setting,
        scene=scene,
        discs=discs,
        slack_mm=slack_of(discs, placed.registration, placed.scan) if discs else 0.0,
        refits=refits,
    )


def _setting(placed: Placement) -> Setting:
    mesh = placed.part.mesh.moved(placed.registration.T_bay_part)
    origin = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2
    growing = growing_of(placed.job, placed.registration.T_bay_part)
    return Setting(
        job=placed.job,
        registration=placed.registration,
        scan=placed.scan,
        target=Target(Mesh(mesh.vertices - origin, mesh.faces), None if growing is None else growing.anchor - origin),
        origin=origin,
        growing=growing,
    )


def _points_of(placed: Placement, table: str) -> Array:
    """Return the decided scan points of a table that do not lie on the engine, which a shaft is fitted to."""
    scan, where = placed.scan, next(t for t in placed.job.zones if t.name == table).where
    assert scan is not None
    chosen = ~scan.stray & (held_by(where, scan.points) <= 0)
    if placed.engine is not None and placed.engine.peel:
        chosen &= peel(model_of(placed.engine), placed.registration, scan).stays
    return scan.points[chosen]


def points_left_out(rebuilt: Rebuilt, certificate: Certificate) -> list[str]:
    """Return which scan points were left out without reason."""
    setting, entries = rebuilt.setting, {entry.name: entry for entry in certificate.zones}
    if setting.scan is None:
        return []
    fits = {}
    for zone in rebuilt.scene.zones.zones:
        entry = entries.get(zone.name)
        if zone.name in rebuilt.refits and entry is not None and entry.fit is not None:
            fits[zone.table] = entry.fit, rebuilt.refits[zone.name].noise_mm
    asked = Asked(
        job=setting.job,
        scan=setting.scan,
        zones=rebuilt.scene.zones,
        target=setting.target,
        origin=setting.origin,
        discs=rebuilt.discs,
        slack_mm=rebuilt.slack_mm,
        fits=fits,
    )
    return left_out_faults(asked, certificate)


def mesh_left_out(
    rebuilt: Rebuilt, zone: Zone, table: ZoneTable, entry: ZoneCertificate
) -> tuple[list[str], str | None]:
    """Return what is wrong with what was masked of a mesh zone, and why it was not proved again."""
    claimed = entry.contact.area_mm2 if entry.contact is not None else 0.0
    if zone.mesh is None or not rebuilt.discs:
        return (["its certificate masks what no face can touch"] if claimed else []), None
    if zone.fit is not None:
        return [], None if zone.closed else "a face of contact cuts its fitted shaft, which is not proved again"
    whole = _uncut(rebuilt.setting.job, table)
    assert whole.mesh is not None
    if claimed == 0 and np.array_equal(whole.mesh.triangles, zone.mesh.triangles):
        return [], None
    target, origin = rebuilt.setting.target, rebuilt.setting.origin
    part = Mesh(target.mesh.vertices + origin, target.mesh.faces)
    try:
        check_plain(rebuilt.discs, part, rebuilt.slack_mm)
        return mesh_faults(whole.mesh, zone.mesh, whole.closed, rebuilt.discs, rebuilt.slack_mm, claimed), None
    except ValueError as why:
        return [], f"{why}, so what was masked is not proved again"


def _uncut(job: Job, table: ZoneTable) -> Zone:
    """Return a body as its file or primitive has it."""
    return build_zones(job.model_copy(update={"zones": (table,)}), None).zones[0]
