"""Write a job as TOML with every default filled in."""

from __future__ import annotations

import os
import re
from datetime import date, time
from pathlib import Path
from typing import Any

from clearance.job.schema import Job, as_toml_tree

BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
ESCAPES = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t", "\r": "\\r", "\b": "\\b", "\f": "\\f"}


def job_text(job: Job, folder: Path) -> str:
    """Return the effective job as TOML.

    Parameters
    ----------
    folder : Path
        Where the text will be written; file names are rewritten to be right from there, with forward
        slashes, relative unless on another drive.
    """
    tree = as_toml_tree(job)
    tree["part"]["file"] = _seen_from(folder, job.path(job.part.file))
    if job.engine is not None:
        tree["engine"]["file"] = _seen_from(folder, job.path(job.engine.file))
    if job.bay is not None:
        tree["bay"]["files"] = [_seen_from(folder, job.path(file)) for file in job.bay.files]
    for table, zone in zip(tree["zone"], job.zones, strict=True):
        if zone.where.file is not None:
            table["where"]["file"] = _seen_from(folder, job.path(zone.where.file))
    lines = [f"{name} = {toml_value(value)}" for name, value in tree.items() if not isinstance(value, dict | list)]
    for name, value in tree.items():
        if isinstance(value, dict):
            lines += ["", f"[{name}]", *_entries(value)]
        elif isinstance(value, list):
            for table in value:
                lines += ["", f"[[{name}]]", *_entries(table)]
    return "\n".join(lines) + "\n"


def toml_value(value: Any) -> str:
    """Return a value as TOML 1.0 text; arrays of tables take a line per table.

    Raises
    ------
    ValueError
        If it is an integer too long to print.
    TypeError
        If TOML has no such type.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        return '"' + "".join(ESCAPES.get(c, c if c.isprintable() else f"\\U{ord(c):08x}") for c in value) + '"'
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, list):
        if value and isinstance(value[0], dict):
            return "[\n" + "".join(f"  {toml_value(v)},\n" for v in value) + "]"
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{_name(k)} = {toml_value(v)}" for k, v in value.items()) + " }" if value else "{}"
    raise TypeError(f"TOML has no {type(value).__name__}")


def _seen_from(folder: Path, path: Path) -> str:
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:  # another drive
        return path.resolve().as_posix()


def _entries(table: dict[str, Any]) -> list[str]:
    return [f"{name} = {toml_value(value)}" for name, value in table.items()]


def _name(key: str) -> str:
    return key if BARE_KEY.fullmatch(key) else toml_value(key)
