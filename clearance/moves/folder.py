"""Write a folder of results whole or not at all; an earlier one of the same kind is replaced."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Callable
from pathlib import Path

from clearance.errors import InputError

KEY = "-o"


def check_folder(folder: Path, record: str, form: str) -> None:
    """Refuse a folder that holds anything but an earlier result of the same kind.

    Parameters
    ----------
    record : str
        Name of the JSON file that tells what a folder holds.
    form : str
        Its `format`.
    """
    try:
        place = folder.resolve()
        if place == Path.cwd() or place in Path.cwd().parents:
            raise InputError(folder, "is the working folder or holds it", "name a folder of its own", KEY)
        if place.exists() and not place.is_dir():
            raise InputError(folder, "is a file", "choose a folder", KEY)
        if place.exists() and any(place.iterdir()) and not _is_ours(place / record, form):
            raise InputError(folder, "the folder holds other files", "choose an empty or a new one", KEY)
    except (OSError, RuntimeError) as fault:
        raise InputError(folder, f"cannot be used ({fault})", "choose another place", KEY) from fault


def write_folder(folder: Path, fill: Callable[[Path], None]) -> None:
    """Let `fill` write into a folder beside the wanted one and put it in place when it is done.

    Raises InputError where it cannot be written.
    """
    place = folder.resolve()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        building = Path(tempfile.mkdtemp(prefix=f".{place.name[:40]}.", suffix=".unfinished", dir=place.parent))
        try:
            fill(building)
            building.chmod(0o755)
            if place.exists():
                old = Path(tempfile.mkdtemp(prefix=f".{place.name[:40]}.", suffix=".old", dir=place.parent))
                place.rename(old / "old")
                building.rename(place)
                shutil.rmtree(old, ignore_errors=True)
            else:
                building.rename(place)
        finally:
            shutil.rmtree(building, ignore_errors=True)
    except OSError as fault:
        wanted = "free some space or choose another place; nothing was written"
        raise InputError(folder, f"cannot be written ({fault.strerror or fault})", wanted, KEY) from fault


def write_json(path: Path, tree: object) -> None:
    """Write plain data, flushed to the disk."""
    with path.open("w", encoding="utf-8") as stream:
        json.dump(tree, stream, indent=2, allow_nan=False)
        stream.write("\n")
        stream.flush()
        os.fsync(stream.fileno())


def _is_ours(path: Path, form: str) -> bool:
    try:
        tree = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(tree, dict) and tree.get("format") == form
