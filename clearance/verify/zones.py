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
from clearance.verify.cells import prove_cells
from clearance.verify.claims import SweepClaim, ZoneCertificate, ZoneClaim
from clearance.verify.cover import hole
from clearance.verify.doubts import comes_within, encloses, in_company
from clearance.verify.numbers import zone_faults
from clearance.verify.paths import ANGLES, Path, path_of
from clearance.verify.prove import Outcome
from clearance.verify.result import ZoneProof
from clearance.verify.target import Target
from clearance.verify.witness import witness_faults

EPS_MM = 0.01
"""A claim counts as proved again where all but this much of it is."""

QUESTIONS = 20_000_000
"""Distances asked per zone before it gives up."""

DEPTH = "how deep it interferes was not proved again; that it does, was"


@dataclass(frozen=True, eq=False, kw_only=True)
class Setting:
    """The scene rebuilt from the inputs. `target`: the placed part, counted from `origin` (3,), mm."""

    job: Job
    registration: Registration
    scan: Scan | None
    target: Target
    origin: Array


def prove_zone(
    setting: Setting, zone: Zone, table: ZoneTable, row: ZoneClaim, entry: ZoneCertificate
) -> tuple[ZoneProof, list[str]]:
    """Prove a zone again; return the proof and what does not hold."""
    faults = zone_faults(row, table, setting.job, setting.scan, setting.registration)
    faults += _same_claims(row, entry, zone)
    body = _from_origin(zone, setting.origin)
    path = path_of(setting.job, table, setting.origin)
    lacking, asked = _beyond(setting.job, table, entry), 0
    if lacking is None:
        for sweep in entry.sweeps:
            own, why, questions = _prove_sweep(setting.target, path, body, zone, row, sweep, setting.origin)
            faults, lacking, asked = faults + own, lacking or why, asked + questions
    if row.verdict == "pass":
        faults += _doubts(setting, path, body, zone, row)
    proved = row.clearance_mm.lower - _eps(row.clearance_mm.lower)
    proof = ZoneProof(
        name=row.name,
        claimed_mm=row.clearance_mm.lower,
        proved_mm=None if faults or lacking or row.clearance_mm.lower <= 0 else proved,
        upper_mm=None if faults or lacking else row.clearance_mm.upper,
        not_proved=lacking,
        distances=asked,
    )
    return proof, [f"{row.name}: {fault}" for fault in faults]


def _eps(lower: float) -> float:
    return min(EPS_MM, max(lower, 0.0) / 2)


def _from_origin(zone: Zone, origin: Array) -> Array | Mesh:
    if zone.mesh is not None:
        return Mesh(zone.mesh.vertices - origin, zone.mesh.faces)
    assert zone.points is not None
    return zone.points - origin


def _same_claims(row: ZoneClaim, entry: ZoneCertificate, zone: Zone) -> list[str]:
    """The row must say what the certificate says, and the certificate's facets be those of the body."""
    faults = []
    if abs(entry.facet_mm - zone.facet_mm) > 1e-9:
        faults.append(f"its certificate allows {entry.facet_mm:g} mm for facets, the body has {zone.facet_mm:g} mm")
    if not entry.sweeps:
        return [*faults, "its certificate holds no sweep"]
    worst = min(entry.sweeps, key=lambda sweep: sweep.clearance_mm.lower)
    if row.clearance_mm != worst.clearance_mm:
        faults.append("its clearance is not that of its certificate")
    if row.worst_pose != worst.worst_pose:
        faults.append("its worst pose is not that of its certificate")
    if (row.on_part_mm, row.on_zone_mm) != (worst.on_part_mm, worst.on_zone_mm):
        faults.append("its witness points are not those of its certificate")
    return faults


def _beyond(job: Job, table: ZoneTable, entry: ZoneCertificate) -> str | None:
    """Return why this zone's sweeps cannot be proved again here, None if they can."""
    if table.rides in {link.name for link in job.links}:
        return "it rides on a shaft between two carriers, whose motion is not proved again"
    unknown = {angle for sweep in entry.sweeps for angle in sweep.angles} - set(ANGLES)
    if unknown:
        return f"its certificate has motions that are not proved again: {', '.join(sorted(unknown))}"
    if any(sweep.factor != 1.0 for sweep in entry.sweeps):
        return "the part grown with heat is not proved again"
    return None


def _prove_sweep(
    target: Target, path: Path, body: Array | Mesh, zone: Zone, row: ZoneClaim, sweep: SweepClaim, origin: Array
) -> tuple[list[str], str | None, int]:
    """Return faults, why something stayed unproved, and the questions asked."""
    faults = witness_faults(target, path, body, sweep, row, zone.facet_mm, origin)
    lower, columns = sweep.clearance_mm.lower, sweep.columns()
    if columns is None:
        return [*faults, "its certificate's cells have the wrong shape"], None, 0
    low, high, bounds = columns
    order = [ANGLES.index(name) for name in sweep.angles]
    if (why := hole(path.angle_low[order], path.angle_high[order], low, high)) is not None:
        faults.append(f"its certificate does not cover the motion: {why}")
    still = [k for k in range(len(ANGLES)) if k not in order and path.angle_low[k] < path.angle_high[k]]
    if still:
        faults.append(f"its certificate leaves out the {ANGLES[still[0]]}")
    if lower <= 0:
        return faults, None, 0
    if abs(min(float(bounds.min()), sweep.clearance_mm.upper - zone.facet_mm) - lower) > 1e-9:
        faults.append(f"the least bound of its cells is {bounds.min():.6f} mm, the report says {lower:.6f} mm")
    pieces = body.triangles if isinstance(body, Mesh) else body[:, None]
    full_low, full_high = np.zeros((len(low), 2)), np.zeros((len(low), 2))
    full_low[:, order], full_high[:, order] = low, high
    ended = prove_cells(target, path, pieces, full_low, full_high, bounds - _eps(lower), QUESTIONS)
    said, unproved = _say(ended, "a cell of its certificate claims {claimed:.3f} mm, a pose in it has {nearer:.3f} mm")
    faults += said
    if _swallowed(target, path, body, zone.closed):
        faults.append("one body lies inside the other")
    asked = ended.distances
    if zone.spacing_mm is not None and not faults and unproved is None:
        allowed = lower - row.budget_mm.spacing + np.asarray(zone.spacing_mm, dtype=np.float64) - _eps(lower)
        box = path.angle_low[None], path.angle_high[None]
        spaced = prove_cells(target, path, pieces, *box, allowed[None], QUESTIONS)
        said, unproved = _say(
            spaced,
            f"its spacing allowance of {row.budget_mm.spacing:.3f} mm is too small: a point comes within "
            "{nearer:.3f} mm, and {claimed:.3f} mm would be needed where points are so far apart",
        )
        faults, asked = faults + said, asked + spaced.distances
    return faults, unproved, asked


def _say(ended: Outcome, fault: str) -> tuple[list[str], str | None]:
    if ended.nearer_mm is not None and ended.claimed_mm is not None:
        return [fault.format(claimed=ended.claimed_mm, nearer=ended.nearer_mm)], None
    return [], f"gave up after {ended.distances} distances" if ended.gave_up else None


def _swallowed(target: Target, path: Path, body: Array | Mesh, closed: bool) -> bool:
    """Tell whether a body lies inside the other at the middle of the motion.

    Where surfaces never touch, that cannot change over the motion.
    """
    points = body.vertices[np.unique(body.faces)] if isinstance(body, Mesh) else body
    angles, slides = (path.angle_low + path.angle_high) / 2, (path.slide_low + path.slide_high) / 2
    seen = path.seen(points[:, None], *(np.repeat(x[None], len(points), axis=0) for x in (angles, slides)))[:, 0]
    if target.inside(seen).any():
        return True
    if not (isinstance(body, Mesh) and closed):
        return False
    place = np.empty_like(body.vertices)
    place[np.unique(body.faces)] = seen
    corners = target.mesh.vertices[np.unique(target.mesh.faces)]
    return bool(Target(Mesh(place, body.faces)).inside(corners).any())


def _doubts(setting: Setting, path: Path, body: Array | Mesh, zone: Zone, row: ZoneClaim) -> list[str]:
    faults = []
    needed = row.required_gap_mm + row.budget_mm.guard
    if comes_within(setting.target, path, in_company(zone.stray_points) - setting.origin, needed):
        faults.append("scan points that no surface supports stand together nearer than it may pass with")
    if isinstance(body, Mesh) and not zone.closed and encloses(body, setting.target.mesh):
        faults.append("the part lies within its open mesh, so nothing is proven")
    return faults
