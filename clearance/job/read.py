"""Read a job file. Every fault is one line that names the file, the key, what was found and what would be right."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import ValidationError

from clearance.errors import InputError
from clearance.job.check import check_across, check_files
from clearance.job.faults import first_fault
from clearance.job.schema import Job

START = "write one with `clearance new`"


def read_job(path: Path) -> Job:
    """Read and check the job file at `path`.

    Raises
    ------
    InputError
        If it cannot be read, is not TOML, has an unknown, missing or wrong key, contradicts itself,
        or names a file that is missing or empty.
    """
    if not path.exists():
        raise InputError(path, "no such job file", START)
    if not path.is_file():
        raise InputError(path, "not a file", "give the path of a job file")
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise InputError(path, f"not UTF-8 text (byte {fault.start})", "save the job as UTF-8") from fault
    except OSError as fault:
        raise InputError(path, f"cannot be read ({fault.strerror})", "make the file readable") from fault
    if not text.strip():
        raise InputError(path, "the job file is empty", START)
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        said = str(fault)
        raise InputError(path, f"not TOML: {said[0].lower()}{said[1:]}", "mend that line") from fault
    try:
        job = Job.model_validate({**tree})
    except ValidationError as fault:
        raise first_fault(fault, tree, path) from fault
    job = job.model_copy(update={"file": path})
    if "file" in tree:
        raise InputError(path, "unknown key", "part.file and zone files have their own tables", "file")
    check_across(job)
    check_files(job)
    return job
