"""Tables of numbers by name, and which one a job means, whatever the case, spaces and hyphens."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from clearance.errors import InputError


@dataclass(frozen=True, kw_only=True)
class Known:
    """A row of a table: a name, the number it stands for, and where that is from."""

    name: str
    value: float
    source: str


def meant(value: float | str, rows: Sequence[Known], kind: str, job_file: str | Path, key: str) -> tuple[float, str]:
    """Return the number that a job's number or name means, and where it is from.

    Raises
    ------
    InputError
        For an unknown name: the nearest known one, or all of them.
    """
    if not isinstance(value, str):
        return float(value), "from the job"
    found = _named(value, rows, kind, job_file, key)
    return found.value, f"{found.name}: {found.source}"


def _named(name: str, rows: Sequence[Known], kind: str, job_file: str | Path, key: str) -> Known:
    known = {_plain(row.name): row for row in rows}
    if _plain(name) in known:
        return known[_plain(name)]
    near = difflib.get_close_matches(_plain(name), known, n=1, cutoff=0.6)
    meant = f"did you mean '{known[near[0]].name}'? " if near else ""
    raise InputError(job_file, f"unknown {kind} '{name}'", f"{meant}known: {', '.join(r.name for r in rows)}", key)


def _plain(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())
