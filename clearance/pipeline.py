"""The main job, step by step: every step a function of its own that returns a frozen result."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from clearance.errors import InputError
from clearance.frames import Array
from clearance.heat.growth import Growth, growth_of
from clearance.job.read import read_job
from clearance.job.schema import Job
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.rock import rock_of
from clearance.motion.zone_motion import zone_motion_of
from clearance.provenance import InputFile, versions
from clearance.registration.peel import model_of, peel
from clearance.registration.register import register
from clearance.registration.result import Registration
from clearance.scene.contact import ContactMask, PlacedFace, contact_slack_mm, covers, placed_faces, without_contact
from clearance.scene.engine import Engine, read_engine
from clearance.scene.inputs import read_bay, read_part, zone_files
from clearance.scene.part import Part
from clearance.scene.plausible import check_landmarks, check_near_scan
from clearance.scene.scan import Scan
from clearance.scene.zone import Zone
from clearance.scene.zones import Zones, build_zones
from clearance.unseen.find import find_unseen
from clearance.unseen.result import Needed, Unseen
from clearance.verdict.decide import decide_job
from clearance.verdict.fixes import all_fixes
from clearance.verdict.judge import judge_zone, nearest_unclaimed, with_unseen
from clearance.verdict.notes import notes_of
from clearance.verdict.result import CheckResult
from clearance.verdict.setting import Setting
from clearance.verdict.support import with_support

GUARD_MM = 5.0
"""Guard that no sound job exceeds: scan points are brought onto their surface within gap, motion and this."""

Progress = Callable[[str], None]


@dataclass(frozen=True, eq=False, kw_only=True)
class Placement:
    """A job read and its part placed: all that comes before clearances."""

    job: Job
    part: Part
    growth: Growth | None
    engine: Engine | None
    scan: Scan | None
    registration: Registration
    inputs: tuple[InputFile, ...]


@dataclass(frozen=True, eq=False, kw_only=True)
class Scene:
    """Everything in its place in the bay.

    Attributes
    ----------
    motions : by a zone's name, how it moves against the part
    faces, masks : faces that are meant to touch and, by a zone's name, what they leave out of it
    peeled : scan points that lie on the engine and ride with it
    """

    setting: Setting
    zones: Zones
    motions: Mapping[str, PairMotion]
    faces: tuple[PlacedFace, ...]
    masks: Mapping[str, ContactMask]
    peeled: int


def place(job_file: Path, progress: Progress = lambda step: None) -> Placement:
    """Read a job and place its part in the bay. Raises InputError for any fault of the job or its files."""
    job = read_job(job_file)
    growth = growth_of(job)
    progress("reading the part")
    part, part_file = read_part(job)
    engine, engine_file = read_engine(job)
    check_landmarks(job, part.mesh)
    progress("reading the scan")
    scan, bay_files = read_bay(job)
    progress("placing the part")
    model = model_of(engine) if engine else None
    registration = register(
        job.register_,
        part.mesh,
        scan.points[~scan.stray] if scan else None,
        scan.accuracy_mm if scan else 0.0,
        scan.noise_mm if scan else 0.0,
        job.file,
        job.datums,
        model,
        _stations(job),
    )
    if scan is not None:
        check_near_scan(job, part.mesh.moved(registration.T_bay_part), scan.points)
    return Placement(
        job=job,
        part=part,
        growth=growth,
        engine=engine,
        scan=scan,
        registration=registration,
        inputs=(part_file, *engine_file, *bay_files, *zone_files(job)),
    )


def lay_out(placed: Placement) -> Scene:
    """Build the zones in the bay around the placed part. Raises InputError where a zone cannot be built."""
    job, scan, registration, engine = placed.job, placed.scan, placed.registration, placed.engine
    in_bay, rock = placed.part.moved(registration.T_bay_part), rock_of(job.rock)
    growth = placed.growth.moved(registration.T_bay_part) if placed.growth else None
    peeled = peel(model_of(engine), registration, scan) if engine and engine.peel and scan else None
    setting = Setting(
        part=in_bay,
        registration=registration,
        scan=scan,
        rock=rock,
        growth=growth,
        confidence=job.decision.confidence,
    )
    if scan is not None:
        setting = replace(setting, scan=with_support(scan, in_bay.mesh, _within_mm(job, setting)))
    zones = build_zones(job, setting.scan, peeled)
    faces = placed_faces(job, in_bay, registration.T_bay_part)
    zones, masks = _without_contact(job, zones, faces, setting)
    return Scene(
        setting=setting,
        zones=zones,
        faces=faces,
        masks=masks,
        motions=_motions(job, zones.zones, setting),
        peeled=int(peeled.on_engine.sum()) if peeled else 0,
    )


def check(job_file: Path, progress: Progress = lambda step: None) -> CheckResult:
    """Run the main job. Raises InputError for any fault of the job or its files."""
    started = time.perf_counter()
    placed = place(job_file, progress)
    job, registration = placed.job, placed.registration
    timing = {"read_and_place": time.perf_counter() - started}
    progress("laying out the zones")
    scene = lay_out(placed)
    setting, zones = scene.setting, scene.zones
    results = []
    for number, zone in enumerate(zones.zones, 1):
        progress(f"zone {number} of {len(zones.zones)}: {zone.name}")
        results.append(judge_zone(zone, scene.motions[zone.name], setting))
    unclaimed_mm = nearest_unclaimed(zones.unclaimed, setting, results)
    progress("looking for what the scan did not see")
    unseen = unseen_near(scene, job, {r.zone.name: r.zone.gap_mm + r.budget.guard for r in results})
    results = list(with_unseen(results, unseen))
    verdict, reason = decide_job(results, registration, unclaimed_mm)
    progress("listing what must move")
    fixes = all_fixes(results, scene.motions, setting)
    timing["total"] = time.perf_counter() - started
    return CheckResult(
        job=job,
        part=placed.part,
        scan=setting.scan,
        registration=registration,
        zones=tuple(results),
        verdict=verdict,
        reason=reason,
        fixes=fixes,
        inputs=placed.inputs,
        growth=setting.growth,
        unseen=unseen,
        notes=notes_of(job, placed.part, results, registration, setting.growth, scene.peeled, scene.masks),
        timing_s=timing,
        versions=versions(),
    )


def _motions(job: Job, zones: Sequence[Zone], setting: Setting) -> dict[str, PairMotion]:
    """Return how each zone moves against the part, by the zone's name.

    Points peeled off onto the engine leave the motion of the zone they were caught in.
    """
    tables = {table.name: table for table in job.zones}
    own = {name: zone_motion_of(table, job.links) for name, table in tables.items()}
    return {
        zone.name: pair_motion(
            setting.part.rides,
            own[zone.table] if zone.rides == tables[zone.table].rides else zone.rides,
            setting.rock,
        )
        for zone in zones
    }


def _without_contact(
    job: Job, zones: Zones, faces: Sequence[PlacedFace], setting: Setting
) -> tuple[Zones, dict[str, ContactMask]]:
    """Leave out of the zones what the part is meant to touch. Raises InputError where nothing else is left."""
    masks, kept, unclaimed = dict[str, ContactMask](), list[Zone](), zones.unclaimed
    if not faces:
        return zones, masks
    scan = setting.scan
    sigma = max(setting.registration.sigma_mm(face.point, face.normal) for face in faces)
    slack = contact_slack_mm(scan.noise_mm if scan else 0.0, sigma, len(scan.points) if scan else 0)
    for zone in zones.zones:
        cut, masks[zone.name] = without_contact(zone, faces, slack)
        if (cut.points is not None and not len(cut.points)) or (cut.mesh is not None and not len(cut.mesh.faces)):
            found = f"all of zone '{zone.name}' lies on what the part is meant to touch"
            raise InputError(job.file, found, "leave the zone out, or give the face a smaller radius", "part.contact")
        kept.append(cut)
    return Zones(tuple(kept), unclaimed), masks


def _within_mm(job: Job, setting: Setting) -> float:
    """Return how near to the part at rest a scan point must be to matter: largest gap, guard and motion."""
    part, other = setting.part, "chassis" if setting.part.rides == "engine" else "engine"
    motion = pair_motion(part.rides, other, setting.rock)
    moves = float(motion.wander_mm(motion.arms_mm(part.mesh.vertices, of_part=True)).max())
    return max(zone.required_gap for zone in job.zones) + GUARD_MM + 2 * moves + setting.unlike_mm(1.0)


def unseen_near(scene: Scene, job: Job, needed_mm: Mapping[str, float]) -> tuple[Unseen, ...]:
    """Return the places near the part that the scan missed; none where the job has no scan.

    `needed_mm`: gap and guard of each zone, by its name.
    """
    setting = scene.setting
    if setting.scan is None:
        return ()
    grown_mm = setting.unlike_mm(1.0)
    needs = [Needed(zone=zone, needed_mm=needed_mm[zone.name] + grown_mm) for zone in scene.zones.zones]
    found = find_unseen(
        setting.part, setting.scan, needs, setting.rock, stations=_stations(job), file_of=setting.scan.file_of
    )
    return tuple(u for u in found if not any(covers(face, u.centre, u.size_mm) for face in scene.faces))


def _stations(job: Job) -> Array | None:
    """Return where the scanner stood, (k, 3) bay frame, mm; None where the job does not say."""
    return np.array(job.bay.stations, dtype=np.float64) if job.bay is not None and job.bay.stations else None
