"""A job read and its part placed in the bay."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from clearance.frames import Array
from clearance.heat.growth import Growth, growth_of
from clearance.job.check import check_files
from clearance.job.read import read_job
from clearance.job.schema import Job
from clearance.provenance import InputFile
from clearance.registration.peel import model_of
from clearance.registration.register import register
from clearance.registration.result import Registration
from clearance.scene.engine import Engine, read_engine
from clearance.scene.inputs import read_bay, read_part, zone_files
from clearance.scene.part import Part
from clearance.scene.plausible import check_landmarks, check_near_scan
from clearance.scene.scan import Scan

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


def place(job_file: Path, progress: Progress = lambda step: None, part_file: Path | None = None) -> Placement:
    """Read a job and place its part in the bay. Raises InputError for any fault of the job or its files.

    `part_file` takes the place of the job's own part, in the same unit.
    """
    job = read_job(job_file)
    if part_file is not None:
        job = job.model_copy(update={"part": job.part.model_copy(update={"file": part_file.resolve()})})
        check_files(job)
    growth = growth_of(job)
    progress("reading the part")
    part, part_record = read_part(job)
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
        stations_of(job),
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
        inputs=(part_record, *engine_file, *bay_files, *zone_files(job)),
    )


def stations_of(job: Job) -> Array | None:
    """Return where the scanner stood, (k, 3) bay frame, mm; None where the job does not say."""
    return np.array(job.bay.stations, dtype=np.float64) if job.bay is not None and job.bay.stations else None
