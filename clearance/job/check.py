"""Rules across tables of a job, and the files it names. What a rock moves, or nothing, is told in the report."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from pathlib import Path

from clearance.errors import InputError
from clearance.job.check_datums import check_datums
from clearance.job.check_motions import check_motions
from clearance.job.schema import Job

NO_BAY = "needs scan points but the job has no [bay]"


def slug(name: str) -> str:
    """Return a zone's name as a stem for file names: lower-case letters of any script, digits, dashes."""
    plain = unicodedata.normalize("NFKC", name).casefold()
    return re.sub(r"[\W_]+", "-", plain).strip("-") or "zone"


def check_across(job: Job) -> None:
    """Check what no single table can know. Raises InputError."""
    _check_names(job)
    check_datums(job)
    check_motions(job)
    rest = [zone.name for zone in job.zones if zone.where.rest]
    if len(rest) > 1:
        raise InputError(
            job.file, f"zone '{rest[0]}' has rest = true as well", "keep one of them", f"zone '{rest[1]}': where.rest"
        )
    if job.bay is None:
        for zone in job.zones:
            if not zone.where.is_body:
                wanted = "add [bay], or make the zone a body of its own with solid = true or file"
                raise InputError(job.file, NO_BAY, wanted, f"zone '{zone.name}': where")
        if job.register_.refine:
            raise InputError(job.file, NO_BAY, "add [bay] or leave refine out", "register.refine")
        if job.register_.method == "shape":
            raise InputError(job.file, NO_BAY, "add [bay], or place the part another way", "register.method")


def _check_names(job: Job) -> None:
    by_slug: dict[str, str] = {}
    for zone in job.zones:
        other, key = by_slug.get(slug(zone.name)), f"zone '{zone.name}': name"
        if other == zone.name:
            raise InputError(job.file, "two zones have this name", "give each its own", key)
        if other is not None:
            found = f"would give the same file names in the report as zone '{other}'"
            raise InputError(job.file, found, "change one of the names", key)
        by_slug[slug(zone.name)] = zone.name
    names = [access.name for access in job.access]
    for name in names:
        if names.count(name) > 1:
            raise InputError(job.file, "two accesses have this name", "give each its own", f"access '{name}': name")


def check_files(job: Job) -> None:
    """Check that every file the job names is there and not empty, and no scan is listed twice. Raises InputError."""
    for key, file in _files(job):
        _check_file(job, key, file)
    seen: dict[Path, Path] = {}
    for file in job.bay.files if job.bay is not None else ():
        other = seen.setdefault(job.path(file).resolve(), file)
        if other is not file:
            found = f"{file} is the same file as {other}" if other != file else f"{file} is listed twice"
            raise InputError(job.file, found, "list it once: points on points would hide the spacing", "bay.files")


def _files(job: Job) -> Iterator[tuple[str, Path]]:
    yield "part.file", job.part.file
    if job.engine is not None:
        yield "engine.file", job.engine.file
    for file in job.bay.files if job.bay is not None else ():
        yield "bay.files", file
    for zone in job.zones:
        if zone.where.file is not None:
            yield f"zone '{zone.name}': where.file", zone.where.file


def _check_file(job: Job, key: str, file: Path) -> None:
    path = job.path(file)
    try:
        if not path.exists():
            found = f"{file}: no such file" + ("" if path == file else f" (looked for {path})")
            raise InputError(job.file, found, "paths are relative to the job file", key)
        if not path.is_file():
            raise InputError(job.file, f"{file}: not a file", "name a file", key)
        if path.stat().st_size == 0:
            raise InputError(job.file, f"{file}: the file is empty", "export it again", key)
    except OSError as fault:
        raise InputError(job.file, f"{file}: {fault.strerror}", "name a file that can be read", key) from fault
