"""The pick page: the scan, thinned for drawing and whole for fitting, and the scripts that work on it, in one file."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined

from clearance.errors import InputError
from clearance.frames import Array
from clearance.outputs.inlined import data, script, style
from clearance.outputs.packing import near_order, pack, pack_points
from clearance.outputs.thinning import thinned
from clearance.pick.normals import normals
from clearance.scene.plausible import odd_size
from clearance.scene.scan_io import read_scan, stated_unit
from clearance.units import UNITS

STEP_MM = 0.01
MOST_POINTS, MOST_SHOWN = 1_500_000, 250_000
SCRIPTS = ("outputs/stage.js", "outputs/draw.js", "pick/fit.js", "pick/job.js", "pick/pick.js")


def pick_page(
    scan: Path,
    unit: str | None = None,
    around: tuple[float, float, float, float] | None = None,
    warn: Callable[[str], None] = lambda line: None,
) -> str:
    """Return the page for a scan as text. Everything from names is escaped.

    Parameters
    ----------
    scan : Path
        Point cloud or mesh.
    unit : str or None
        Unit of its coordinates; None where the file states it.
    around : (x, y, z, radius) or None
        mm: only points within `radius` of that place are taken.
    warn : function
        Told in one line if the scan has no usual size for a bay.

    Raises
    ------
    InputError
        If the scan cannot be read, its unit is not known, or no point lies around the place.
    """
    read_in = _unit(scan, unit)
    whole = read_scan([scan], read_in).points
    if odd := odd_size(whole, read_in):
        warn(f"{scan}: {odd}")
    points = _cropped(scan, whole, around)
    kept = points[thinned(points, MOST_POINTS)]
    kept = kept[near_order(kept)]
    environment = Environment(
        loader=PackageLoader("clearance.pick", "templates"),
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template("pick.html").render(
        name=scan.name,
        whole=len(points),
        kept=len(kept),
        style=style("outputs/report.css") + style("pick/pick.css"),
        scan=data(_scan_data(kept)),
        script=script(*SCRIPTS),
    )


def write_pick_page(page: str, file: Path) -> None:
    """Write the page, whole or not at all. Raises InputError if it cannot be written or is not named .html."""
    if file.suffix.lower() not in (".html", ".htm"):
        raise InputError(file, "is no name for a page", f"write {file.stem}.html", "-o")
    place = file.resolve()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{place.name[:40]}.", suffix=".unfinished", dir=place.parent)
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as stream:
                stream.write(page)
            Path(name).chmod(0o644)
            Path(name).replace(place)
        finally:
            Path(name).unlink(missing_ok=True)
    except OSError as fault:
        found = f"cannot be written ({fault.strerror or fault})"
        raise InputError(file, found, "choose another place; nothing was written", "-o") from fault


def _unit(scan: Path, unit: str | None) -> str:
    if unit is not None:
        return unit
    stated = stated_unit(scan.suffix.lower().removeprefix("."))
    if stated is None and scan.exists():
        raise InputError(scan, "does not state the unit of its coordinates", f"add --unit {' | '.join(UNITS)}")
    return stated or "mm"


def _cropped(scan: Path, points: Array, around: tuple[float, float, float, float] | None) -> Array:
    if around is None:
        return points
    near: Array = points[np.linalg.norm(points - np.array(around[:3]), axis=1) <= around[3]]
    if not len(near):
        found = f"no point within {around[3]:g} mm of [{around[0]:g}, {around[1]:g}, {around[2]:g}]"
        raise InputError(scan, found, "give a place of the scan, mm, and a wider radius", "--around")
    return near


def _scan_data(points: Array) -> dict[str, Any]:
    """Pack the points and, for every so-manieth that is drawn at first, the direction of its surface."""
    origin = np.round((points.min(axis=0) + points.max(axis=0)) / 2, 2)
    every = -(-len(points) // MOST_SHOWN)
    facing = np.rint(normals(points[::every]) * 100)
    return {
        "origin": [float(x) for x in origin],
        "points": pack_points(points, origin, STEP_MM),
        "every": every,
        "normals": pack(facing, differences=False),
    }
