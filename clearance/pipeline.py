"""The main job, step by step: every step a function of its own that returns a frozen result."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from clearance.job.read import read_job
from clearance.job.schema import Job
from clearance.motion.rock import rock_of
from clearance.provenance import InputFile, versions
from clearance.registration.register import register
from clearance.registration.result import Registration
from clearance.scene.inputs import read_bay, read_part, zone_files
from clearance.scene.part import Part
from clearance.scene.plausible import check_landmarks, check_near_scan
from clearance.scene.scan import Scan
from clearance.scene.zones import build_zones
from clearance.verdict.decide import decide_job
from clearance.verdict.fixes import all_fixes
from clearance.verdict.judge import judge_zone, nearest_unclaimed
from clearance.verdict.notes import notes_of
from clearance.verdict.result import CheckResult

Progress = Callable[[str], None]


@dataclass(frozen=True, eq=False, kw_only=True)
class Placement:
    """A job read and its part placed: all that comes before clearances."""

    job: Job
    part: Part
    scan: Scan | None
    registration: Registration
    inputs: tuple[InputFile, ...]


def place(job_file: Path, progress: Progress = lambda step: None) -> Placement:
    """Read a job and place its part in the bay. Raises InputError for any fault of the job or its files."""
    job = read_job(job_file)
    progress("reading the part")
    part, part_file = read_part(job)
    check_landmarks(job, part.mesh)
    progress("reading the scan")
    scan, bay_files = read_bay(job)
    progress("placing the part")
    registration = register(
        job.register_,
        part.mesh,
        scan.points[~scan.stray] if scan else None,
        scan.accuracy_mm if scan else 0.0,
        scan.noise_mm if scan else 0.0,
        job.file,
        job.datums,
    )
    if scan is not None:
        check_near_scan(job, part.mesh.moved(registration.T_bay_part), scan.points)
    return Placement(
        job=job, part=part, scan=scan, registration=registration, inputs=(part_file, *bay_files, *zone_files(job))
    )


def check(job_file: Path, progress: Progress = lambda step: None) -> CheckResult:
    """Run the main job. Raises InputError for any fault of the job or its files."""
    started = time.perf_counter()
    placed = place(job_file, progress)
    job, part, scan, registration = placed.job, placed.part, placed.scan, placed.registration
    timing = {"read_and_place": time.perf_counter() - started}

    in_bay = part.moved(registration.T_bay_part)
    rock = rock_of(job.rock)
    zones = build_zones(job, scan)
    results = []
    for number, zone in enumerate(zones.zones, 1):
        progress(f"zone {number} of {len(zones.zones)}: {zone.name}")
        results.append(judge_zone(zone, in_bay, registration, scan, rock, job.decision.confidence))
    unclaimed_mm = nearest_unclaimed(zones.unclaimed, in_bay, rock, results)
    verdict, reason = decide_job(results, registration, unclaimed_mm)
    progress("listing what must move")
    fixes = all_fixes(results, in_bay, rock)
    timing["total"] = time.perf_counter() - started
    return CheckResult(
        job=job,
        part=part,
        scan=scan,
        registration=registration,
        zones=tuple(results),
        verdict=verdict,
        reason=reason,
        fixes=fixes,
        inputs=placed.inputs,
        notes=notes_of(job, part, results, registration),
        timing_s=timing,
        versions=versions(),
    )
