"""Write a shield study: everything into a folder beside the wanted one, then renamed. Whole or not at all."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from pathlib import Path

from clearance.errors import InputError
from clearance.job.write import job_text
from clearance.outputs.stems import stems
from clearance.shield.drawing import write_drawing
from clearance.shield.maps import temperature_ply
from clearance.shield.page import page
from clearance.shield.record import FORMAT, record
from clearance.shield.result import ShieldResult
from clearance.shield.show import write_blank, write_room

KEY = "-o"
OURS = re.compile(
    r"shield\.(json|html)|job\.toml|temperature_.*\.ply|shield_(room|blank|pattern)\.(ply|stl|png|svg|dxf)"
    r"|\.DS_Store|Thumbs\.db|desktop\.ini"
)
"""Names that an earlier study may hold, and what file managers drop into any folder they show."""


def check_folder(folder: Path) -> None:
    """Refuse a folder that holds anything but an earlier study, or that cannot be made. Raises InputError."""
    try:
        place = folder.resolve()
        if place == Path.cwd() or place in Path.cwd().parents:
            raise InputError(folder, "is the working folder or holds it", "name a folder of its own", KEY)
        above = next(parent for parent in place.parents if parent.exists())
        if not above.is_dir() or not os.access(above, os.W_OK | os.X_OK):
            raise InputError(folder, f"{above} is no folder that may be written to", "choose another place", KEY)
        if not place.exists():
            return
        if not place.is_dir():
            raise InputError(folder, "is a file", "choose a folder", KEY)
        present = sorted(entry.name for entry in place.iterdir())
        foreign = [name for name in present if not OURS.fullmatch(name)]
        if foreign or (present and not _is_study(place)):
            named = f" ({foreign[0]})" if foreign else ""
            raise InputError(folder, f"the folder holds other files{named}", "choose an empty or a new one", KEY)
    except OSError as fault:
        raise _unwritable(folder, fault) from fault


def write_shield(result: ShieldResult, folder: Path) -> None:
    """Write shield.html, shield.json, maps of temperatures, room, blank and pattern, and the effective job.

    An earlier study there stays until the new one is complete and is then replaced.

    Raises
    ------
    InputError
        If the folder holds other files or cannot be written (full disk, no permission).
    """
    check_folder(folder)
    place = folder.resolve()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        beside = Path(tempfile.mkdtemp(prefix=f".{place.name[:40]}.", suffix=".unfinished", dir=place.parent))
        try:
            building = beside / "new"
            building.mkdir()
            _fill(result, building, place)
            _swap(building, place, beside / "old")
        finally:
            shutil.rmtree(beside, ignore_errors=True)
    except OSError as fault:
        raise _unwritable(folder, fault) from fault


def _fill(result: ShieldResult, building: Path, place: Path) -> None:
    (building / "job.toml").write_text(job_text(result.job, place), encoding="utf-8")
    names = stems(zone.name for zone in result.zones)
    for zone in result.zones:
        (building / f"temperature_{names[zone.name]}.ply").write_bytes(temperature_ply(zone))
    pictures = list[Path]()
    if (shield := result.fitted) is not None:
        pictures.append(write_room(shield.room, shield.need_faces, shield.build_mm, building, shield.up)[1])
        if shield.pattern is not None:
            pictures.append(write_blank(shield.blank, result.layout, shield.need_faces, building, shield.up)[1])
            pictures.append(write_drawing(shield.pattern, building)[0])
    (building / "shield.html").write_text(page(result, pictures), encoding="utf-8")
    tree = record(result)
    (building / "shield.json").write_text(json.dumps(tree, indent=2, allow_nan=False) + "\n", encoding="utf-8")


def _swap(building: Path, place: Path, aside: Path) -> None:
    """Put the finished folder in place; the old one comes back should that fail."""
    if place.exists():
        place.rename(aside)
    try:
        building.rename(place)
    finally:
        if aside.exists() and not place.exists():
            aside.rename(place)


def _is_study(folder: Path) -> bool:
    try:
        tree = json.loads((folder / "shield.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(tree, dict) and tree.get("format") == FORMAT


def _unwritable(folder: Path, fault: OSError) -> InputError:
    wanted = "free some space or choose another place; nothing was written"
    return InputError(folder, f"cannot be written ({fault.strerror or fault})", wanted, KEY)
