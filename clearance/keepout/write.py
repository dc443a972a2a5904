"""The keep-out as a mesh file, written whole or not at all, and what is said of it."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.errors import InputError
from clearance.keepout.keepout import KeepOut
from clearance.outputs.meshes import plain_ply
from clearance.scene.mesh import Mesh

SUFFIXES = (".stl", ".ply")
KEY = "-o"

CAUTION = (
    "an aid, not an approval: check the finished shape with `clearance check`, which also looks for what the scan did "
    "not see, then on the car, cold and hot, before driving"
)


def check_file(path: Path) -> None:
    """Refuse a file that cannot be written as asked. Raises InputError."""
    if path.suffix.lower() not in SUFFIXES:
        raise InputError(path, f"the name ends in '{path.suffix}'", "end it in .stl or .ply", KEY)
    if path.is_dir():
        raise InputError(path, "is a folder", "name a file", KEY)
    if not path.resolve().parent.is_dir():
        raise InputError(path, "there is no such folder", "make the folder first, or name another place", KEY)


def write_mesh(mesh: Mesh, path: Path, comment: str) -> None:
    """Write a binary STL (single precision) or PLY (double), mm; the file appears whole. Raises InputError."""
    check_file(path)
    data = _stl(mesh, comment) if path.suffix.lower() == ".stl" else plain_ply(mesh, comment)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".unfinished", dir=path.resolve().parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            mask = os.umask(0o022)
            os.umask(mask)
            Path(name).chmod(0o666 & ~mask)
            Path(name).replace(path)
        finally:
            Path(name).unlink(missing_ok=True)
    except OSError as fault:
        wanted = "free some space or choose another place; nothing was written"
        raise InputError(path, f"cannot be written ({fault.strerror or fault})", wanted, KEY) from fault


def comment_of(found: KeepOut) -> str:
    """Return one line for the file's header."""
    return f"keep-out solid, millimetres, {found.frame} frame, grid {found.resolution_mm:g} mm"


def lines(found: KeepOut) -> list[str]:
    """Return what the terminal shows."""
    box = " to ".join("[" + ", ".join(f"{x:.1f}" for x in corner) + "]" for corner in (found.low, found.high))
    said = [f"keep-out of the box {box} mm, {found.frame} frame"]
    if found.mesh is None:
        said.append("nothing in this box is short of any gap: no solid, nothing was written")
    else:
        said.append(
            f"{len(found.mesh.faces)} triangles, {found.volume_mm3 / 1000:.1f} cm³; holds every place that is short, "
            f"and stands outside the exact solid by at most {found.over_mm:.2f} mm (within the box)"
        )
    wide = max(len(row.name) for row in found.rows)
    said.append(f"{'zone':{wide}}  {'gap':>7}  {'guard':>7}  {'spacing':>7}  {'kept mm':>8}")
    said += [
        f"{row.name:{wide}}  {row.gap_mm:7.2f}  {row.guard_mm:7.2f}  {row.spacing_mm:7.2f}  {row.needed_mm:8.2f}"
        for row in found.rows
    ]
    if found.growth is not None:
        said.append(f"growth with heat is in it: {found.growth.text}")
    said.append("holds for a part as modelled, wholly in the box, with this job's placement, tolerance and rock")
    said += [*found.notes, CAUTION]
    return said


def as_dict(found: KeepOut) -> dict[str, Any]:
    """Return the same for a program."""
    return {
        "format": "clearance-keepout/1",
        "frame": found.frame,
        "low_mm": found.low.tolist(),
        "high_mm": found.high.tolist(),
        "resolution_mm": found.resolution_mm,
        "outside_by_at_most_mm": found.over_mm,
        "triangles": 0 if found.mesh is None else len(found.mesh.faces),
        "volume_mm3": found.volume_mm3,
        "zones": [vars(row) for row in found.rows],
        "growth": None if found.growth is None else found.growth.text,
        "notes": [*found.notes, CAUTION],
    }


def _stl(mesh: Mesh, comment: str) -> bytes:
    corners = mesh.triangles
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    body: NDArray[np.void] = np.zeros(len(corners), dtype=[("n", "<f4", 3), ("c", "<f4", (3, 3)), ("a", "<u2")])
    body["n"], body["c"] = normal / np.where(length > 0, length, 1.0), corners
    return comment.encode("ascii", "replace")[:80].ljust(80) + np.uint32(len(corners)).tobytes() + body.tobytes()
