"""A job read and its part placed in the bay."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from clearance.errors import InputError
from clearance.frames import Array, Pose
from clearance.heat.growth import Growth, growth_of
from clearance.heat.names_in_job import check_names
from clearance.job.check import check_files
from clearance.job.read import read_job
from clearance.job.schema import Job
from clearance.layout.keep_near import MARGIN_MM, Surroundings
from clearance.provenance import InputFile
from clearance.registration.peel import model_of
from clearance.registration.register import register
from clearance.registration.result import Registration
from clearance.scene.engine import Engine, read_engine
from clearance.scene.inputs import read_bay, read_part, zone_files
from clearance.scene.part import Part
from clearance.scene.plausible import check_landmarks, check_near_scan
from clearance.scene.scan import Scan
from clearance.scene.zones import nearest_of_zones

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
    check_names(job)
    growth = growth_of(job)
    progress("reading the part")
    part, part_record = read_part(job)
    engine, engine_file = read_engine(job)
    check_landmarks(job, part.mesh)
    progress("reading the scan")
    around = Surroundings(job, part, growth, _stated_pose(job, part), MARGIN_MM)
    scan, bay_files = read_bay(job, around.keep())
    progress("placing the part")
    registration = _registered(job, part, engine, scan)
    if scan is not None and scan.thinned is not None:
        scan, bay_files = _read_for(registration.T_bay_part, around, scan, bay_files, (job, part, growth), progress)
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


def _registered(job: Job, part: Part, engine: Engine | None, scan: Scan | None) -> Registration:
    return register(
        job.register_,
        part.mesh,
        scan.points[~scan.stray] if scan else None,
        scan.accuracy_mm if scan else 0.0,
        scan.noise_mm if scan else 0.0,
        job.file,
        job.datums,
        model_of(engine) if engine else None,
        stations_of(job),
    )


def _stated_pose(job: Job, part: Part) -> Pose | None:
    """Return the pose that the job itself tells, before any settling; None where the scan must tell it."""
    if job.bay is None or job.register_.method not in ("given", "landmarks"):
        return None
    spec = job.register_.model_copy(update={"refine": False})
    return register(spec, part.mesh, None, job.bay.accuracy, 0.0, job.file).T_bay_part


def _read_for(
    T_bay_part: Pose,
    around: Surroundings,
    scan: Scan,
    files: tuple[InputFile, ...],
    what: tuple[Job, Part, Growth | None],
    progress: Progress,
) -> tuple[Scan, tuple[InputFile, ...]]:
    """Return a large scan with all points that matter to the part where it is: read again if some were thinned.

    That is where the part was not known to be, and about zones farther off than what is kept at first.
    """
    job, part, growth = what
    served = around.serves(T_bay_part)
    if not served:
        around = Surroundings(job, part, growth, T_bay_part, 0.0)
    far = around.far_zones(nearest_of_zones(job, scan, around.places))
    if served and not far:
        return scan, files
    progress("reading the scan again about the placed part")
    again, read = read_bay(job, around.keep(far))
    assert again is not None
    if read != files:
        raise InputError(job.file, "a scan changed between two readings", "run again", "bay.files")
    return again, files


def stations_of(job: Job) -> Array | None:
    """Return where the scanner stood, (k, 3) bay frame, mm; None where the job does not say."""
    return np.array(job.bay.stations, dtype=np.float64) if job.bay is not None and job.bay.stations else None


def ends_of(job: Job) -> tuple[Array, ...]:
    """Return the boxes in which the surface really ends, each (2, 3) bay frame, mm: low and high corner."""
    return tuple(np.array([end.box.min, end.box.max], np.float64) for end in (job.bay.ends if job.bay else ()))
