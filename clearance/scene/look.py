"""What is this file? Everything `clearance look` tells about one mesh or scan. Judges and changes nothing."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from clearance.frames import Array
from clearance.scene import mesh_io, scan_io
from clearance.scene.condition import condition
from clearance.scene.densities import DENSITIES, mass_g
from clearance.scene.look_result import Look, MeshFindings, ScanFindings
from clearance.scene.look_text import as_dict, as_lines
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import health
from clearance.scene.source import Source
from clearance.scene.wall import thinnest_wall
from clearance.scene.winding import outward
from clearance.units import UNITS, to_mm

__all__ = ["Look", "as_dict", "as_lines", "guess_unit", "look"]

USUAL_MM = {"mesh": (50.0, 3_000.0), "scan": (300.0, 8_000.0)}
"""Bounding diagonals, mm, that parts and bay scans usually have. Trade habit; only for the guess."""

COMMONEST = ("mm", "m", "in", "cm")
"""Units in the order in which such files are met. Trade habit; only for the guess."""


def look(path: Path, unit: str | None = None) -> Look:
    """Examine a mesh or a scan.

    Parameters
    ----------
    path : Path
    unit : str, optional
        Unit of the coordinates. Without it lengths are told in the file's own units and mass is not told.

    Raises
    ------
    InputError
        If the file cannot be read, or states another unit. An odd size is told, not refused.
    """
    source = Source(path)
    if scan_io.is_cloud(source):
        return _look_at_scan(source, unit)
    return _look_at_mesh(source, unit)


def _look_at_mesh(source: Source, unit: str | None) -> Look:
    """Examine a mesh."""
    raw = mesh_io.read_raw(source)
    factor = 1.0 if unit is None else source.factor(unit, raw.stated_unit)
    mesh = Mesh(raw.mesh.vertices * factor, raw.mesh.faces)
    found = health(mesh)
    told_mass = found.volume_mm3 is not None and unit is not None
    findings = MeshFindings(
        vertices=len(mesh.vertices),
        triangles=len(mesh.faces),
        degenerate=raw.degenerate,
        bare=raw.bare,
        health=found,
        wall=thinnest_wall(outward(mesh)) if found.watertight else None,
        mass_g={d.material: mass_g(abs(found.volume_mm3 or 0.0), d) for d in DENSITIES} if told_mass else {},
    )
    return Look(
        mesh=findings, **_common(source, raw.format, unit, factor, found.low, found.high, raw.stated_unit, "mesh")
    )


def _look_at_scan(source: Source, unit: str | None) -> Look:
    """Examine a scan."""
    stated = scan_io.stated_unit(source.path.suffix.lower().removeprefix("."))
    factor = 1.0 if unit is None else source.factor(unit, stated)
    cloud = scan_io.read_cloud(source, factor)
    common = _common(source, cloud.file.format, unit, factor, cloud.low, cloud.high, stated, "scan")
    # Points are one point seen again within so many mm: without a unit, in the likely one.
    mm = to_mm(common["guess"]) if unit is None and common["guess"] in UNITS else 1.0
    scan = condition(cloud.points * mm, "auto", 0.0)
    known = bool(np.isfinite(scan.spacing_mm).all())
    findings = ScanFindings(
        points=len(cloud.points), no_return=cloud.file.no_return,
        spacing=tuple((np.quantile(scan.spacing_mm, (0.05, 0.5, 0.95)) / mm).tolist()) if known else None,
        noise=scan.noise_mm / mm, strays=int(scan.stray.sum()),
        grain=cloud.file.grain_mm, grain_why=cloud.file.grain_why,
    )  # fmt: skip
    return Look(scan=findings, **common)


def _common(
    source: Source, form: str, unit: str | None, factor: float, low: Array, high: Array, stated: str | None, kind: str
) -> dict[str, Any]:
    """Return the fields of a `Look` that meshes and scans share."""
    extents = {u: (high - low) / factor * to_mm(u) for u in UNITS}
    guess, reason = guess_unit({u: float(np.linalg.norm(e)) for u, e in extents.items()}, stated, kind)
    return {
        "path": source.path, "format": form, "length_unit": "file units" if unit is None else "mm",
        "low": low, "high": high, "extents_mm": extents, "guess": guess, "guess_reason": reason,
    }  # fmt: skip


def guess_unit(diagonals_mm: dict[str, float], stated: str | None, kind: str) -> tuple[str | None, str]:
    """Return the likely unit and why, from the bounding diagonal, mm, that each unit would give."""
    if stated is not None:
        return stated, "the file format states it"
    low, high = USUAL_MM[kind]
    usual = [u for u in COMMONEST if low <= diagonals_mm[u] <= high]
    span = f"{low:g} to {high:g} mm, the usual size of a {'part' if kind == 'mesh' else 'bay scan'}"
    if len(usual) == 1:
        return usual[0], f"only {usual[0]} makes the diagonal {span}"
    if not usual:
        return None, f"no unit makes the diagonal {span}"
    return usual[0], f"{', '.join(usual)} all make the diagonal {span}; the first is the commonest"
