"""Read a job file. Every fault is one line that names the file, the key, what was found and what would be right."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

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
    tree = toml_tree(_text(path), path)
    if "file" in tree:
        raise InputError(path, "unknown key", "did you mean part.file?", "file")
    try:
        job = Job.model_validate(tree)
    except ValidationError as fault:
        raise first_fault(fault, tree, path) from fault
    job = job.model_copy(update={"file": path})
    check_across(job)
    check_files(job)
    return job


def _text(path: Path) -> str:
    try:
        if not path.exists():
            raise InputError(path, "no such job file", START)
        if not path.is_file():
            raise InputError(path, "not a file", "give the path of a job file")
        text = path.read_bytes().decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        raise InputError(path, f"not UTF-8 text (byte {fault.start})", "save the job as UTF-8") from fault
    except OSError as fault:
        raise InputError(path, f"cannot be read ({fault.strerror})", "give a file that can be read") from fault
    if not text.strip():
        raise InputError(path, "the job file is empty", START)
    return text


def toml_tree(text: str, path: Path) -> dict[str, Any]:
    """Return the tables of a TOML text read from `path`. Raises InputError where it is not TOML."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        last = len(text.splitlines())
        said = str(fault).replace("(at end of document)", f"(at the end, line {last})")
        raise InputError(path, f"not TOML: {said[0].lower()}{said[1:]}", "mend that line") from fault
    except (ValueError, RecursionError) as fault:
        raise InputError(path, "not a job: a number or a nesting without end", f"mend it, or {START}") from fault
