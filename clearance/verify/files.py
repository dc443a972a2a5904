"""Are the files those that the report was made of? Compared by SHA-256."""

from __future__ import annotations

from pathlib import Path

from clearance.job.schema import Job
from clearance.outputs.certificate import content_sha256
from clearance.provenance import sha256_of
from clearance.verify.claims import Claims


def output_faults(claims: Claims) -> list[str]:
    """Return which files of the report folder are not as they were written."""
    faults = []
    if content_sha256(claims.tree) != claims.certificate.report_sha256:
        faults.append("report.json was changed after it was written (SHA-256 differs)")
    listed = claims.certificate.files
    for name, wanted in listed.items():
        path = claims.folder / name
        if not path.is_file():
            faults.append(f"{name} is missing from the report")
        elif sha256_of(path) != wanted:
            faults.append(f"{name} was changed after the report was written (SHA-256 differs)")
    faults += [f"the certificate does not list {name}" for name in ("job.toml", "report.html") if name not in listed]
    return faults


def input_faults(claims: Claims, job: Job) -> list[str]:
    """Return which inputs, as the report's job.toml names them, are not those that the report was made of."""
    named = [job.part.file, *(job.bay.files if job.bay else ())]
    named += [job.engine.file] if job.engine else []
    named += [zone.where.file for zone in job.zones if zone.where.file is not None]
    recorded = {(Path(entry.file).name, entry.sha256) for entry in claims.report.inputs}
    present = {(file.name, sha256_of(job.path(file))) for file in named}
    names = {name for name, _ in recorded}
    faults = [
        f"input {name} is not the file the report was made of (SHA-256 differs)"
        if name in names
        else f"input {name} is not among those of the report"
        for name, _ in sorted(present - recorded)
    ]
    gone = sorted(names - {name for name, _ in present})
    return faults + [f"the report names an input {name} that its job does not have" for name in gone]
