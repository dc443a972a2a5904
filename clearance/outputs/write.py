"""Write the report of a check, whole or not at all."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

from clearance.job.write import job_text
from clearance.outputs import folder as whole
from clearance.outputs.added import Added
from clearance.outputs.certificate import CERTIFICATE, certificate
from clearance.outputs.meshes import write_fixes, write_meshes
from clearance.outputs.pictures import write_pictures
from clearance.outputs.record import FORMAT, record
from clearance.outputs.report_page import report_page
from clearance.outputs.worst_points import worst_points_csv
from clearance.verdict.result import CheckResult

REPORT = whole.Ours(
    names=re.compile(
        r"report\.(json|html)|certificate\.json|job\.toml|worst_points\.csv|pictures|fixes"
        r"|clearance_(part|zone_.*)\.(ply|glb)"
    ),
    record="report.json",
    form=FORMAT,
)


def check_folder(folder: Path, added: re.Pattern[str] | None = None) -> None:
    """Refuse a folder that holds anything but an earlier report, or that cannot be made. Raises InputError.

    `added`: names of further files that the report may have.
    """
    whole.check_folder(folder, _ours(added))


def write_results(result: CheckResult, folder: Path, added: Added | None = None) -> None:
    """Write report.json and .html, certificate.json, pictures, meshes, worst_points.csv and the effective job.

    An earlier report there stays until the new one is complete and is then replaced. `added` is what another
    command has to say in the same report.

    Raises
    ------
    InputError
        If the folder holds other files or cannot be written (full disk, no permission).
    """
    ours = _ours(None if added is None else added.names)
    whole.write_folder(folder, ours, lambda building: _fill(result, building, folder.resolve(), added))


def _ours(added: re.Pattern[str] | None) -> whole.Ours:
    names = REPORT.names if added is None else re.compile(f"{REPORT.names.pattern}|{added.pattern}")
    return replace(REPORT, names=names)


def _fill(result: CheckResult, building: Path, folder: Path, added: Added | None) -> None:
    effective = job_text(result.job, folder)
    tree = record(result) if added is None else {**record(result), added.key: added.tree}
    (building / "job.toml").write_text(effective, encoding="utf-8")
    (building / "worst_points.csv").write_text(worst_points_csv(result), encoding="utf-8")
    write_meshes(result, building)
    write_fixes(result, building)
    pictures = write_pictures(result, building / "pictures")
    more = () if added is None else (added.fill(building), added.bodies, added.beside_verdict)
    (building / "report.html").write_text(report_page(result, pictures, effective, *more), encoding="utf-8")
    whole.write_json(building / REPORT.record, tree)
    proof = json.dumps(certificate(result, tree, building), allow_nan=False)
    (building / CERTIFICATE).write_text(proof + "\n", encoding="utf-8")
