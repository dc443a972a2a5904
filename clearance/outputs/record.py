"""report.json: the whole result as plain data. Lengths mm, angles degrees, bay frame at the neutral pose."""

from __future__ import annotations

import math
from dataclasses import asdict
from itertools import product
from typing import Any

import numpy as np

from clearance.access.result import Access
from clearance.frames import Array
from clearance.motion.result import MotionState
from clearance.outputs.looked_for import looked_for
from clearance.provenance import InputFile
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.units import degrees
from clearance.unseen.result import Unseen
from clearance.verdict.result import CheckResult, Fix, ZoneResult

FORMAT = "clearance-report/1"


def record(result: CheckResult) -> dict[str, Any]:
    """Return what report.json holds. A number that is not finite becomes None: JSON has no other word for it."""
    tree: dict[str, Any] = _finite(_tree(result))
    return tree


def _tree(result: CheckResult) -> dict[str, Any]:
    return {
        "format": FORMAT,
        "verdict": result.verdict.value,
        "reason": result.reason,
        "inputs": [_input(file) for file in result.inputs],
        "registration": _registration(result.registration, result.part.mesh),
        "zones": [_zone(zone) for zone in result.zones],
        "fixes": [_fix(fix, number) for number, fix in enumerate(result.fixes, 1)],
        "access": [_access(access) for access in result.access],
        "unseen": [_unseen(place) for place in result.unseen],
        "unseen_looked_for": looked_for(result),
        "timing_s": {name: round(seconds, 3) for name, seconds in result.timing_s.items()},
        "versions": dict(result.versions),
    }


def largest_sigma(registration: Registration, part: Mesh) -> float:
    """Return the largest 1 sigma over the corners of the part's bounding box, along any direction, mm.

    The variance of a place is a convex function of it, so no place of the part exceeds its box's corners.
    """
    limits = np.stack([part.vertices.min(axis=0), part.vertices.max(axis=0)])
    corners = np.array(list(product(*limits.T)))
    return float(registration.largest_sigma_mm(registration.T_bay_part.apply(corners)).max())


def pose_degrees(state: MotionState) -> dict[str, float | None]:
    """Return a pose in degrees and mm; None where that motion is not part of the pair."""
    return {
        "roll_deg": None if state.roll_rad is None else degrees(state.roll_rad),
        "lift_mm": state.lift_mm,
        "shift_mm": state.shift_mm,
        "travel_deg": None if state.travel_rad is None else degrees(state.travel_rad),
        "stroke_mm": state.stroke_mm,
    }


def _finite(tree: Any) -> Any:
    if isinstance(tree, dict):
        return {name: _finite(value) for name, value in tree.items()}
    if isinstance(tree, list):
        return [_finite(value) for value in tree]
    return None if isinstance(tree, float) and not math.isfinite(tree) else tree


def _input(file: InputFile) -> dict[str, Any]:
    return {name: value for name, value in asdict(file).items() if value is not None}


def _registration(registration: Registration, part: Mesh) -> dict[str, Any]:
    return {
        "method": registration.method,
        "T_bay_part": registration.T_bay_part.matrix.tolist(),
        "converged": registration.converged,
        "residual_rms_mm": registration.residual_rms_mm,
        "runner_up_ratio": registration.runner_up_ratio,
        "sigma_mm": largest_sigma(registration, part),
    }


def _zone(result: ZoneResult) -> dict[str, Any]:
    sweep = result.sweep
    return {
        "name": result.zone.name,
        "kind": result.zone.kind,
        "required_gap_mm": result.zone.gap_mm,
        "clearance_mm": {"lower": sweep.clearance.lower, "upper": sweep.clearance.upper},
        "nearest_raw_point_mm": result.nearest_raw_point_mm,
        "margin_mm": result.margin_mm,
        "worst_pose": pose_degrees(sweep.worst),
        "on_part_mm": _list(sweep.on_part),
        "on_zone_mm": _list(sweep.on_zone),
        "direction": _list(sweep.direction),
        "budget_mm": asdict(result.budget),
        "hot": result.hot,
        "growth_factor": result.factor,
        "verdict": result.verdict.value,
        "reason": result.reason,
    }


def fix_file(number: int) -> str:
    """Return the file, within the report, of the patch of the fix with this number, moved just enough."""
    return f"fixes/fix_{number}.ply"


def _fix(fix: Fix, number: int) -> dict[str, Any]:
    return {
        "zone": fix.zone,
        "centre_mm": _list(fix.centre),
        "direction": _list(fix.direction),
        "short_mm": fix.short_mm,
        "area_mm2": fix.area_mm2,
        "moved": fix_file(number),
        "room_mm": fix.room_mm,
        "room_to": fix.room_to,
        "own_surfaces_mm": list(fix.own_surfaces_mm),
    }


def _access(access: Access) -> dict[str, Any]:
    spot = access.spot
    return {
        "name": access.name,
        "kind": access.kind,
        "outcome": access.outcome.value,
        "reason": access.reason,
        "nearest": None
        if spot is None
        else {
            "to": spot.obstacle,
            "clearance_mm": {"lower": spot.clearance.lower, "upper": spot.clearance.upper},
            "needed_mm": spot.needed_mm,
            "on_moving_mm": _list(spot.on_moving),
            "on_standing_mm": _list(spot.on_standing),
        },
    }


def _unseen(place: Unseen) -> dict[str, Any]:
    return {
        "zone": place.zone,
        "centre_mm": _list(place.centre),
        "size_mm": place.size_mm,
        "nearest_mm": place.nearest_mm,
        "needed_mm": place.needed_mm,
        "advice": place.advice,
    }


def _list(vector: Array) -> list[float]:
    return [float(x) for x in vector]
