"""Write a result: everything into a folder beside the wanted one, then renamed. Whole or not at all."""

from __future__ import annotations

import json
import os
import re
import shutil
import tempfile
from pathlib import Path

from clearance.errors import InputError
from clearance.job.write import job_text
from clearance.outputs.certificate import CERTIFICATE, certificate
from clearance.outputs.exchange import exchange
from clearance.outputs.meshes import write_fixes, write_meshes
from clearance.outputs.pictures import write_pictures
from clearance.outputs.record import FORMAT, record
from clearance.outputs.report_page import report_page
from clearance.outputs.worst_points import worst_points_csv
from clearance.verdict.result import CheckResult

KEY = "-o"

OURS = re.compile(
    r"report\.(json|html)|certificate\.json|job\.toml|worst_points\.csv|pictures|fixes|clearance_(part|zone_.*)\.(ply|glb)"
    r"|\.DS_Store|Thumbs\.db|desktop\.ini"
)
"""Names that an earlier report may hold, and what file managers drop into any folder they show."""


def check_folder(folder: Path) -> None:
    """Refuse a folder that holds anything but an earlier report, or that cannot be made. Raises InputError."""
    try:
        _check_folder(folder, folder.resolve())
    except RuntimeError as fault:  # how Python up to 3.12 tells links that lead round in a circle
        raise InputError(folder, "is a link that leads round in a circle", "choose another place", KEY) from fault
    except OSError as fault:
        raise _unwritable(folder, fault) from fault


def write_results(result: CheckResult, folder: Path) -> None:
    """Write report.json and .html, certificate.json, pictures, meshes, worst_points.csv and the effective job.

    An earlier report there stays until the new one is complete and is then replaced.

    Raises
    ------
    InputError
        If the folder holds other files or cannot be written (full disk, no permission).
    """
    check_folder(folder)
    place = folder.resolve()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        building = Path(tempfile.mkdtemp(prefix=f".{place.name[:40]}.", suffix=".unfinished", dir=place.parent))
        try:
            _fill(result, building, place)
            building.chmod(0o777 & ~_umask())
            _swap(building, place)
        finally:
            shutil.rmtree(building, ignore_errors=True)
    except OSError as fault:
        raise _unwritable(folder, fault) from fault


def _fill(result: CheckResult, building: Path, folder: Path) -> None:
    effective = job_text(result.job, folder)
    tree = record(result)
    (building / "job.toml").write_text(effective, encoding="utf-8")
    (building / "worst_points.csv").write_text(worst_points_csv(result), encoding="utf-8")
    write_meshes(result, building)
    write_fixes(result, building)
    pictures = write_pictures(result, building / "pictures")
    (building / "report.html").write_text(report_page(result, pictures, effective), encoding="utf-8")
    (building / "report.json").write_text(json.dumps(tree, indent=2, allow_nan=False) + "\n", encoding="utf-8")
    proof = json.dumps(certificate(result, tree, building), allow_nan=False)
    (building / CERTIFICATE).write_text(proof + "\n", encoding="utf-8")


def _swap(building: Path, folder: Path) -> None:
    """Put the finished folder in place of the old one, in one step where the system can; else that is moved aside."""
    if not folder.exists():
        building.rename(folder)
        return
    if exchange(building, folder):
        return
    old = Path(tempfile.mkdtemp(prefix=f".{folder.name[:40]}.", suffix=".old", dir=folder.parent))
    aside = old / "report"
    try:
        folder.rename(aside)
        building.rename(folder)
    finally:
        if aside.exists() and not folder.exists():
            aside.rename(folder)
        shutil.rmtree(old, ignore_errors=True)


def _check_folder(folder: Path, place: Path) -> None:
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
    foreign = [name for name in present if not OURS.fullmatch(name)]
    if foreign or (present and not _is_report(place)):
        named = f" ({foreign[0]})" if foreign else ""
        raise InputError(folder, f"the folder holds other files{named}", "choose an empty or a new one", KEY)


def _is_report(folder: Path) -> bool:
    try:
        tree = json.loads((folder / "report.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return isinstance(tree, dict) and tree.get("format") == FORMAT


def _unwritable(folder: Path, fault: OSError) -> InputError:
    wanted = "free some space or choose another place; nothing was written"
    return InputError(folder, f"cannot be written ({fault.strerror or fault})", wanted, KEY)


def _umask() -> int:
    now = os.umask(0o022)
    os.umask(now)
    return now
