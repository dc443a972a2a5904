"""certificate.json: what `clearance verify` needs to prove a report again, and the hashes of every file beside it."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from clearance.motion.result import Sweep
from clearance.outputs.record import pose_degrees
from clearance.provenance import sha256_of
from clearance.verdict.judge import TOLERANCE_MM
from clearance.verdict.result import CheckResult, ZoneResult

FORMAT = "clearance-certificate/1"
CERTIFICATE, REPORT = "certificate.json", "report.json"
NOT_CONTENT = ("timing_s", "versions")
"""Keys of report.json that change from run to run without changing what is said."""


def certificate(result: CheckResult, tree: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Return what certificate.json holds: rad and mm at full precision, bay frame at the neutral pose.

    Parameters
    ----------
    tree : dict
        What report.json holds (`outputs.record`).
    folder : Path
        Where all other files of the report already are.
    """
    return {
        "format": FORMAT,
        "T_bay_part": result.registration.T_bay_part.matrix.tolist(),
        "tolerance_mm": TOLERANCE_MM,
        "zones": [_zone(zone) for zone in result.zones],
        "report_sha256": content_sha256(tree),
        "files": {name: sha256_of(folder / name) for name in sorted(_files(folder))},
    }


def content_sha256(tree: dict[str, Any]) -> str:
    """Return the SHA-256 of a report's content: compact JSON, keys in order, without timing and versions."""
    content = {name: value for name, value in tree.items() if name not in NOT_CONTENT}
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()


def _files(folder: Path) -> list[str]:
    found = (path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file())
    return [name for name in found if name not in (CERTIFICATE, REPORT)]


def _zone(result: ZoneResult) -> dict[str, Any]:
    return {
        "name": result.zone.name,
        "facet_mm": result.zone.facet_mm,
        "sweeps": [_sweep(factor, sweep, result) for factor, sweep in result.sweeps],
    }


def _sweep(factor: float, sweep: Sweep, result: ZoneResult) -> dict[str, Any]:
    bound = result.sweep.clearance if len(result.sweeps) == 1 else sweep.clearance
    return {
        "factor": factor,
        "angles": list(sweep.angles),
        "cells": sweep.cells.tolist(),
        "clearance_mm": {"lower": bound.lower, "upper": bound.upper},
        "worst_pose": pose_degrees(sweep.worst),
        "on_part_mm": sweep.on_part.tolist(),
        "on_zone_mm": sweep.on_zone.tolist(),
        "contained": sweep.contained,
    }
