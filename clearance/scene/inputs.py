"""Read what a job names: the part, the scan, and a record of every file used."""

from __future__ import annotations

import numpy as np

from clearance.job.schema import Job
from clearance.provenance import InputFile, sha256_of
from clearance.scene.condition import conditioned
from clearance.scene.keep import Keep
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import closed
from clearance.scene.mesh_io import read_mesh_file
from clearance.scene.part import Part
from clearance.scene.refine import edge_limit, refined
from clearance.scene.scan import Scan
from clearance.scene.scan_io import sift_scan
from clearance.scene.sieve import Sieve
from clearance.scene.source import check_unchanged
from clearance.scene.tolerances import default_tolerance
from clearance.scene.winding import outward, wound_alike

EDGE_MM = 5.0
"""Edges of the part are split to this, so that colours and patches have somewhere to sit."""


def read_part(job: Job) -> tuple[Part, InputFile]:
    """Read the part: wound alike, outward if closed; the surface itself unchanged."""
    path = job.path(job.part.file)
    read = read_mesh_file(path, job.part.unit, key="part.file", where=job.file)
    mesh = wound_alike(read.mesh)
    solid = closed(mesh)
    mesh = outward(mesh) if solid else mesh
    tolerance, source = _tolerance(job, mesh)
    part = Part(
        name=job.part.file.name,
        mesh=mesh,
        shown=refined(mesh, edge_limit(mesh, EDGE_MM)),
        closed=solid,
        rides=job.part.rides,
        tolerance_mm=tolerance,
        tolerance_source=source,
        material=job.part.material,
    )
    record = InputFile(
        file=job.part.file.as_posix(), sha256=sha256_of(path), unit=job.part.unit, triangles=read.triangles_in_file
    )
    return part, record


def _tolerance(job: Job, mesh: Mesh) -> tuple[float, str | None]:
    """Return the half-width of the part's tolerance, mm: what the job states, else what is usual, and where from."""
    stated, made = job.part.tolerance, job.part.made
    if stated is None and made is not None:
        return default_tolerance(made, float(np.ptp(mesh.vertices[np.unique(mesh.faces)], axis=0).max()))
    return stated or 0.0, None


def read_bay(job: Job, keep: Keep | None = None) -> tuple[Scan | None, tuple[InputFile, ...]]:
    """Read and condition the scans of the job; None where it has no [bay].

    `keep`: where a large scan is kept point by point; without it all of it is.
    """
    if job.bay is None:
        return None, ()
    paths, sieve = [job.path(f) for f in job.bay.files], Sieve(keep)
    before = [sha256_of(path) if path.is_file() else "" for path in paths]
    files = sift_scan(paths, job.bay.unit, sieve, job.bay.accuracy, key="bay.files", where=job.file)
    for path, digest in zip(paths, before, strict=True):
        check_unchanged(path, digest, "bay.files", job.file)
    scan = conditioned(sieve.sifted(), job.bay.noise, job.bay.accuracy)
    records = tuple(
        InputFile(
            file=named.as_posix(),
            sha256=digest,
            unit=job.bay.unit,
            points=None if read.triangles else read.kept,
            triangles=read.triangles or None,
        )
        for named, read, digest in zip(job.bay.files, files, before, strict=True)
    )
    return scan, records


def zone_files(job: Job) -> tuple[InputFile, ...]:
    """Return the record of every mesh that is a zone of its own."""
    return tuple(
        InputFile(
            file=zone.where.file.as_posix(),
            sha256=sha256_of(job.path(zone.where.file)),
            unit=zone.where.unit,
            triangles=read_mesh_file(
                job.path(zone.where.file), zone.where.unit, key=f"zone '{zone.name}': where.file", where=job.file
            ).triangles_in_file,
        )
        for zone in job.zones
        if zone.where.file is not None and zone.where.unit is not None
    )
