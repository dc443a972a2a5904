"""certificate.json: what `clearance verify` needs to prove a report again, and the hashes of every file beside it."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

from clearance.heat.growth import Growth
from clearance.motion.result import Sweep
from clearance.outputs.record import pose_degrees
from clearance.provenance import sha256_of
from clearance.scene.contact import ContactMask
from clearance.scene.fit_cylinder import CylinderFit
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
        "growth": _growth(result.growth),
        "zones": [_zone(zone, result.masks.get(zone.zone.name)) for zone in result.zones],
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


def _growth(growth: Growth | None) -> dict[str, Any] | None:
    if growth is None:
        return None
    return {"anchor_mm": growth.anchor.tolist(), "k_cold": growth.k_cold, "k_hot": growth.k_hot}


def _zone(result: ZoneResult, mask: ContactMask | None) -> dict[str, Any]:
    return {
        "name": result.zone.name,
        "facet_mm": result.zone.facet_mm,
        "fit": _fit(result.zone.fit),
        "contact": None if mask is None else {"points": mask.points, "area_mm2": mask.area_mm2},
        "sweeps": [_sweep(factor, sweep) for factor, sweep in result.sweeps],
    }


def _fit(fit: CylinderFit | None) -> dict[str, Any] | None:
    if fit is None:
        return None
    return {
        "from_mm": fit.from_.tolist(),
        "to_mm": fit.to.tolist(),
        "radius_mm": fit.radius_mm,
        "sigma_mm": fit.sigma_surface_mm,
    }


def _sweep(factor: float, sweep: Sweep) -> dict[str, Any]:
    return {
        "factor": factor,
        "angles": list(sweep.angles),
        "cells": sweep.cells.tolist(),
        "link_axes": None if sweep.link_axes is None else sweep.link_axes.tolist(),
        "clearance_mm": {"lower": sweep.clearance.lower, "upper": sweep.clearance.upper},
        "worst_pose": pose_degrees(sweep.worst),
        "on_part_mm": sweep.on_part.tolist(),
        "on_zone_mm": sweep.on_zone.tolist(),
        "contained": sweep.contained,
    }
