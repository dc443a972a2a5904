"""Rules across tables of a job, and the files it names."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

from clearance.errors import InputError
from clearance.job.schema import Job


def slug(name: str) -> str:
    """Return a zone's name as a stem for file names: lower-case letters, digits and dashes."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "zone"


def check_across(job: Job) -> None:
    """Check what no single table can know. Raises InputError."""
    for name, count in Counter(zone.name for zone in job.zones).items():
        if count > 1:
            raise InputError(job.file, f"{count} zones have this name", "give each its own", f"zone '{name}': name")
    by_slug: dict[str, str] = {}
    for zone in job.zones:
        other = by_slug.setdefault(slug(zone.name), zone.name)
        if other != zone.name:
            raise InputError(
                job.file,
                f"would give the same file names as zone '{other}'",
                "change one name",
                f"zone '{zone.name}': name",
            )
    rest = [zone.name for zone in job.zones if zone.where.rest]
    if len(rest) > 1:
        raise InputError(
            job.file, f"zone '{rest[0]}' has rest = true as well", "keep one of them", f"zone '{rest[1]}': where.rest"
        )
    if job.bay is None:
        for zone in job.zones:
            if not zone.where.is_body:
                raise InputError(
                    job.file,
                    "needs scan points but the job has no [bay]",
                    "add [bay], or make the zone a body with solid = true or file",
                    f"zone '{zone.name}': where",
                )
        if job.register_.refine:
            raise InputError(
                job.file,
                "needs scan points but the job has no [bay]",
                "add [bay] or leave refine out",
                "register.refine",
            )


def check_files(job: Job) -> None:
    """Check that every file the job names is there and not empty. Raises InputError."""
    _check_file(job, "part.file", job.part.file)
    if job.bay is not None:
        for file in job.bay.files:
            _check_file(job, "bay.files", file)
    for zone in job.zones:
        if zone.where.file is not None:
            _check_file(job, f"zone '{zone.name}': where.file", zone.where.file)


def _check_file(job: Job, key: str, file: Path) -> None:
    path = job.path(file)
    if not path.exists():
        raise InputError(
            job.file, f"{file}: no such file (looked for {path})", "paths are relative to the job file", key
        )
    if not path.is_file():
        raise InputError(job.file, f"{file}: not a file", "name a file", key)
    if path.stat().st_size == 0:
        raise InputError(job.file, f"{file}: the file is empty", "export it again", key)
