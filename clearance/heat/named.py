"""Find a row of a table by the name a job gives, whatever its case, spaces and hyphens."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol, TypeVar

from clearance.errors import InputError


class Named(Protocol):
    """A row with a name."""

    @property
    def name(self) -> str: ...  # noqa: D102


Row = TypeVar("Row", bound=Named)


def named(name: str, rows: Sequence[Row], kind: str, job_file: str | Path, key: str) -> Row:
    """Return the row of that name. Raises InputError: names the nearest known one, or all of them."""
    known = {_plain(row.name): row for row in rows}
    if _plain(name) in known:
        return known[_plain(name)]
    near = difflib.get_close_matches(_plain(name), known, n=1, cutoff=0.6)
    meant = f"did you mean '{known[near[0]].name}'? " if near else ""
    raise InputError(job_file, f"unknown {kind} '{name}'", f"{meant}known: {', '.join(r.name for r in rows)}", key)


def _plain(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())
