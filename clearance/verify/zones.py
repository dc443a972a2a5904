"""One zone of a report: its cells, its bound from below and from above, its row, proved again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.frames import Array
from clearance.job.schema import Job
from clearance.job.schema import Zone as ZoneTable
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.scene.scan import Scan
from clearance.scene.zone import Zone
from clearance.verify.claims import ZoneCertificate, ZoneClaim
from clearance.verify.doubts import comes_within, encloses, in_company
from clearance.verify.fitted import Refit, fit_faults, prism
from clearance.verify.grown import Growing, factor_faults
from clearance.verify.moves import Moves, moves_of
from clearance.verify.numbers import zone_faults
from clearance.verify.result import ZoneProof
from clearance.verify.sweeps import EPS_MM, Body, eps_mm, prove_sweeps
from clearance.verify.target import Target
from clearance.verify.witness import SAME_MM, witness_faults

__all__ = ["DEPTH", "EPS_MM", "Setting", "prove_zone"]

DEPTH = "how deep it interferes was not proved again; that it does, was"


@dataclass(frozen=True, eq=False, kw_only=True)
class Setting:
    """The scene rebuilt from the inputs.

    `target`: the placed part as modelled, counted from `origin` (3,), mm. `growing`: None without heat.
    """

    job: Job
    registration: Registration
    scan: Scan | None
    target: Target
    origin: Array
    growing: Growing | None = None

    @property
    def factors(self) -> tuple[float, float]:
        """Least and largest growth factor, 1 without heat."""
        return (1.0, 1.0) if self.growing is None else (self.growing.k_cold, self.growing.k_hot)


def prove_zone(
    setting: Setting,
    zone: Zone,
    table: ZoneTable,
    row: ZoneClaim,
    entry: ZoneCertificate,
    fitted: Refit | None = None,
    lacking: str | None = None,
) -> tuple[ZoneProof, list[str]]:
    """Prove a zone again; return the proof and what does not hold.

    `fitted`: its shaft, fitted again. `lacking`: why what belongs to it was not proved again.
    """
    faults = zone_faults(row, table, setting.job, setting.scan, setting.registration, fitted=zone.fit is not None)
    faults += fit_faults(entry.fit, zone.fit, fitted, row.budget_mm.fit)
    faults += _same_claims(row, entry, zone)
    if not entry.sweeps:
        return _proof(row, lacking, 0, faults)
    faults += factor_faults(row, entry, setting.growing)
    moves, own, why = moves_of(setting.job, table, entry, setting.origin)
    faults, lacking = faults + own, lacking or why
    if moves is None:
        return _proof(row, lacking, 0, faults)
    body, shown = _body(setting, zone, entry), _from_origin(zone, setting.origin)
    for sweep in entry.sweeps:
        towards = np.array(row.direction) if sweep.factor == row.growth_factor else None
        faults += witness_faults(setting.target, moves, shown, sweep, towards, zone.facet_mm, setting.origin)
    if entry.fit is not None and isinstance(body.solid, Mesh):
        faults += _off_the_shaft(body.solid, np.array(row.on_zone_mm) - setting.origin, zone.facet_mm)
    own, why, asked = prove_sweeps(setting.target, moves, body, zone, row, entry, setting.factors)
    faults, lacking = faults + own, lacking or why
    if row.verdict == "pass":
        faults += _doubts(setting, moves, body, zone, row)
    return _proof(row, lacking, asked, faults)


def _proof(row: ZoneClaim, lacking: str | None, asked: int, faults: list[str]) -> tuple[ZoneProof, list[str]]:
    lower = row.clearance_mm.lower
    proof = ZoneProof(
        name=row.name,
        claimed_mm=lower,
        proved_mm=None if faults or lacking or lower <= 0 else lower - eps_mm(lower),
        upper_mm=None if faults or lacking else row.clearance_mm.upper,
        not_proved=lacking,
        distances=asked,
    )
    return proof, [f"{row.name}: {fault}" for fault in faults]


def _from_origin(zone: Zone, origin: Array) -> Array | Mesh:
    if zone.mesh is not None:
        return Mesh(zone.mesh.vertices - origin, zone.mesh.faces)
    assert zone.points is not None
    return zone.points - origin


def _body(setting: Setting, zone: Zone, entry: ZoneCertificate) -> Body:
    """What is proved on: a fitted shaft as the certificate has it, all else as it was rebuilt."""
    if entry.fit is None or zone.fit is None:
        return Body(solid=_from_origin(zone, setting.origin), closed=zone.closed)
    made = prism(entry.fit)
    return Body(solid=Mesh(made.vertices - setting.origin, made.faces), closed=True)


def _off_the_shaft(shaft: Mesh, on_zone: Array, facet_mm: float) -> list[str]:
    off = float(Target(shaft).distance(on_zone[None])[0])
    return [] if off <= facet_mm + SAME_MM else [f"its witness point lies {off:.3g} mm off its shaft"]


def _same_claims(row: ZoneClaim, entry: ZoneCertificate, zone: Zone) -> list[str]:
    """The row must say what the certificate says, and the certificate's facets be those of the body."""
    faults = []
    if abs(entry.facet_mm - zone.facet_mm) > 1e-9:
        faults.append(f"its certificate allows {entry.facet_mm:g} mm for facets, the body has {zone.facet_mm:g} mm")
    if not entry.sweeps:
        return [*faults, "its certificate holds no sweep"]
    least = min(sweep.clearance_mm.upper for sweep in entry.sweeps)
    worst = next((s for s in entry.sweeps if s.factor == row.growth_factor and s.clearance_mm.upper == least), None)
    if worst is None:
        return [*faults, "its worst sweep is not that of its certificate"]
    bounds = row.clearance_mm
    if bounds.upper != least or (len(entry.sweeps) == 1 and bounds.lower != worst.clearance_mm.lower):
        faults.append("its clearance is not that of its certificate")
    if row.worst_pose != worst.worst_pose:
        faults.append("its worst pose is not that of its certificate")
    if (row.on_part_mm, row.on_zone_mm) != (worst.on_part_mm, worst.on_zone_mm):
        faults.append("its witness points are not those of its certificate")
    return faults


def _doubts(setting: Setting, moves: Moves, body: Body, zone: Zone, row: ZoneClaim) -> list[str]:
    faults = []
    needed, origin = row.required_gap_mm + row.budget_mm.guard, setting.origin
    if comes_within(setting.target, moves.path, in_company(zone.stray_points) - origin, needed, setting.factors):
        faults.append("scan points that no surface supports stand together nearer than it may pass with")
    if isinstance(body.solid, Mesh) and not body.closed and encloses(body.solid, setting.target.mesh):
        faults.append("the part lies within its open mesh, so nothing is proven")
    return faults
