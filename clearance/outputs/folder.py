"""Write a folder of results: everything into a folder beside the wanted one, then renamed. Whole or not at all."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from clearance.errors import InputError
from clearance.outputs.exchange import exchange

KEY = "-o"

STRAYS = re.compile(r"\.DS_Store|Thumbs\.db|desktop\.ini")
"""What file managers drop into any folder they show."""


@dataclass(frozen=True, kw_only=True)
class Ours:
    """How a folder of one kind of result is known: only such a one may be replaced.

    Attributes
    ----------
    names : pattern of every name that it may hold
    record : name of the JSON file that tells what it is
    form : the `format` in there
    """

    names: re.Pattern[str]
    record: str
    form: str


def check_folder(folder: Path, ours: Ours) -> None:
    """Refuse a folder that holds anything but an earlier result of the kind, or cannot be made. Raises InputError."""
    try:
        _check(folder, folder.resolve(), ours)
    except RuntimeError as fault:  # how Python up to 3.12 tells links that lead round in a circle
        raise InputError(folder, "is a link that leads round in a circle", "choose another place", KEY) from fault
    except OSError as fault:
        raise _unwritable(folder, fault) from fault


def write_folder(folder: Path, ours: Ours, fill: Callable[[Path], None]) -> None:
    """Let `fill` write into a new folder and put that in the place of `folder` when it is done.

    An earlier result there stays until then.

    Raises
    ------
    InputError
        If the folder holds other files or cannot be written (full disk, no permission).
    """
    check_folder(folder, ours)
    place = folder.resolve()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        building = Path(tempfile.mkdtemp(prefix=f".{place.name[:40]}.", suffix=".unfinished", dir=place.parent))
        try:
            fill(building)
            building.chmod(0o777 & ~_umask())
            _swap(building, place)
        finally:
            shutil.rmtree(building, ignore_errors=True)
    except OSError as fault:
        raise _unwritable(folder, fault) from fault


def write_json(path: Path, tree: object) -> None:
    """Write plain data."""
    path.write_text(json.dumps(tree, indent=2, allow_nan=False) + "\n", encoding="utf-8")


def _swap(building: Path, folder: Path) -> None:
    """Put the finished folder in place of the old one, in one step where the system can; else that is moved aside."""
    if not folder.exists():
        building.rename(folder)
        return
    if exchange(building, folder):
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name[:40]}.", suffix=".old", dir=folder.parent))
    aside = old / "results"
    try:
        folder.rename(aside)
        building.rename(folder)
    finally:
        if aside.exists() and not folder.exists():
            aside.rename(folder)
        shutil.rmtree(old, ignore_errors=True)


def _check(folder: Path, place: Path, ours: Ours) -> None:
    if place == Path.cwd() or place in Path.cwd().parents:
        raise InputError(folder, "is the working folder or holds it", "name a folder of its own, such as report", KEY)
    above = next(parent for parent in place.parents if parent.exists())
    if not above.is_dir():
        raise InputError(folder, f"{above} is not a folder", "choose another place", KEY)
    if not os.access(above, os.W_OK | os.X_OK):
        raise InputError(folder, f"{above} may not be written to", "choose another place", KEY)
    if not place.exists():
        return
    if not place.is_dir():
        raise InputError(folder, "is a file", "choose a folder", KEY)
    present = sorted(entry.name for entry in place.iterdir())
    foreign = [name for name in present if not (ours.names.fullmatch(name) or STRAYS.fullmatch(name))]
    if foreign or (present and not _is_ours(place, ours)):
        named = f" ({foreign[0]})" if foreign else ""
        raise InputError(folder, f"the folder holds other files{named}", "choose an empty or a new one", KEY)


def _is_ours(folder: Path, ours: Ours) -> bool:
    try:
        tree = json.loads((folder / ours.record).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(tree, dict) and tree.get("format") == ours.form


def _unwritable(folder: Path, fault: OSError) -> InputError:
    wanted = "free some space or choose another place; nothing was written"
    return InputError(folder, f"cannot be written ({fault.strerror or fault})", wanted, KEY)


def _umask() -> int:
    now = os.umask(0o022)
    os.umask(now)
    return now
