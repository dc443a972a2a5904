"""Does the size of things make sense together? A wrong unit is refused before it becomes a verdict."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from clearance.errors import InputError
from clearance.frames import Array
from clearance.job.schema import Job
from clearance.scene.look import USUAL_MM, guess_unit
from clearance.scene.mesh import Mesh
from clearance.units import UNITS, to_mm

ASKED = 1000
"""Scan points nearest to the part's box that are asked how near they are."""

FAR_MM = 500.0
"""A part is refused where no scan point lies within its own size plus this."""


def check_landmarks(job: Job, part: Mesh) -> None:
    """Refuse landmarks that lie farther from the part than the part is large: a wrong unit or part."""
    low, high = part.vertices.min(axis=0), part.vertices.max(axis=0)
    size = float(np.linalg.norm(high - low))
    for pair in job.register_.pair:
        point = np.array(pair.part)
        away = float(np.linalg.norm(point - np.clip(point, low, high)))
        if away > size:
            raise InputError(
                job.file,
                f"lies {away:.0f} mm from the part, which is only {size:.0f} mm across",
                f'landmarks are in mm in the part\'s frame; check them and part.unit = "{job.part.unit}"',
                f"register.pair '{pair.name}': part",
            )


def check_near_scan(job: Job, placed: Mesh, scan_points: Array) -> None:
    """Refuse a part placed far from every scan point, which would clear everything by being elsewhere."""
    low, high = placed.vertices.min(axis=0), placed.vertices.max(axis=0)
    size = float(np.linalg.norm(high - low))
    if job.bay is None:
        return
    span = float(np.linalg.norm(np.ptp(scan_points, axis=0)))
    if size > 2 * span:
        raise InputError(
            job.file,
            f"the part is {size:.0f} mm across, the whole scan only {span:.0f} mm",
            f'check part.unit = "{job.part.unit}" and bay.unit = "{job.bay.unit}"',
            "part.unit or bay.unit",
        )
    some = scan_points[:: max(1, len(scan_points) // 100_000)]
    outside = np.linalg.norm(np.maximum(np.maximum(low - some, some - high), 0.0), axis=1)
    nearest = some[np.argsort(outside, kind="stable")[:ASKED]]
    away = float(np.min(cKDTree(placed.vertices, compact_nodes=False, balanced_tree=False).query(nearest)[0]))
    if away > size + FAR_MM:
        raise InputError(
            job.file,
            f"places the part {away:.0f} mm from the nearest scan point",
            f'check register, part.unit = "{job.part.unit}" and bay.unit = "{job.bay.unit}"',
            "register",
        )


def odd_size(points: Array, unit: str) -> str | None:
    """Return one line if a whole scan, (n, 3) mm, read in `unit` has no usual size for a bay; None if it has."""
    (low, high), across = USUAL_MM["scan"], float(np.linalg.norm(np.ptp(points, axis=0)))
    if low <= across <= high:
        return None
    likely, _ = guess_unit({other: across * to_mm(other) / to_mm(unit) for other in UNITS}, None, "scan")
    asked = f'; is its unit "{likely}"?' if likely else ""
    return f'{across:.0f} mm across in unit "{unit}", a bay scan usually {low:g} to {high:g} mm{asked}'
