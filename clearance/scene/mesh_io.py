"""Mesh files to arrays, through trimesh. Reads and refuses; does not judge the surface and never changes it.

Only triangles of zero area are taken out (`flat_triangles`), which leaves the surface as it is.
"""

from __future__ import annotations

import logging
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import trimesh
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.flat_triangles import take_out_flat
from clearance.scene.mesh import IntArray, Mesh
from clearance.scene.mesh_promise import Broken, promised_triangles
from clearance.scene.source import Source

EXTENSIONS = ("stl", "obj", "ply", "off", "glb", "3mf")
SMALLEST_MM, LARGEST_MM = 5.0, 20_000.0
"""Bounding diagonals of a part, mm; outside them the unit is taken to be wrong."""

STATED_UNITS = {"millimeter": "mm", "centimeter": "cm", "meter": "m", "inch": "in"}
"""Unit names of 3MF (3MF Core Specification, ST_Unit) that this program has; micron and foot stay as they are."""


@dataclass(frozen=True, eq=False, kw_only=True)
class MeshFile:
    """A mesh file as read.

    Attributes
    ----------
    mesh : Mesh
        In mm (or in the file's own unit from `read_raw`), exactly equal vertices merged.
    format : str
        Extension, lower case.
    stated_unit : str or None
        Unit the file itself states.
    triangles_in_file : int
        Triangles read, polygons counted as the triangles they are cut into.
    degenerate : int
        Triangles of zero area, taken out by `take_out_flat`: a closed mesh stays closed.
    bare : int
        Lines and points that went with them, joined to no other triangle.
    loose : (k, 3) float64
        Vertices that belong to no triangle of `mesh`: nothing on a part, but seen points of a scan.
    """

    mesh: Mesh
    format: str
    stated_unit: str | None
    triangles_in_file: int
    degenerate: int
    bare: int
    loose: Array


def read_mesh(path: Path, unit: str, *, key: str = "part: file", where: Path | str | None = None) -> Mesh:
    """Read a mesh in mm. See `read_mesh_file`."""
    return read_mesh_file(path, unit, key=key, where=where).mesh


def read_mesh_file(path: Path, unit: str, *, key: str = "part: file", where: Path | str | None = None) -> MeshFile:
    """Read STL, OBJ, PLY, OFF, GLB or 3MF: scene flattened, equal vertices merged, scaled to mm.

    Parameters
    ----------
    path : Path
    unit : str
        Unit of the coordinates: mm, cm, m or in. GLB is metres by its standard and 3MF states its
        unit; a unit that differs from the stated one is refused.
    key, where
        Place that names the file, for messages.

    Raises
    ------
    InputError
        If the file is missing, empty, of an unknown type, shorter than it promises, garbled, holds
        no triangle, a non-finite coordinate or an index out of range, contradicts the unit, or has
        a bounding diagonal outside 5 mm to 20 m.
    """
    source = Source(path, key, where)
    raw = read_raw(source)
    factor = source.factor(unit, raw.stated_unit)
    mesh = Mesh(raw.mesh.vertices * factor, raw.mesh.faces)
    source.check_size(float(np.linalg.norm(np.ptp(mesh.vertices, axis=0))), unit, SMALLEST_MM, LARGEST_MM)
    return MeshFile(
        mesh=mesh, format=raw.format, stated_unit=raw.stated_unit,
        triangles_in_file=raw.triangles_in_file, degenerate=raw.degenerate, bare=raw.bare, loose=raw.loose * factor,
    )  # fmt: skip


def read_raw(source: Source) -> MeshFile:
    """Read a mesh in the file's own unit, without judging its size. Raises InputError as `read_mesh_file`."""
    extension = source.check(EXTENSIONS)
    again = "export the file again"
    try:
        promised = promised_triangles(source.path, extension)
        with _quiet():
            vertices, faces, stated = _load(source.path, extension)
    except Broken as fault:
        raise source.error(str(fault), again) from fault
    except Exception as fault:  # trimesh raises whatever its parsers stumble on
        raise source.error(
            f"unreadable {extension.upper()} ({type(fault).__name__}: {_one_line(fault)})", again
        ) from fault
    if not len(faces):
        raise source.error("no triangle in the file", "export a surface mesh, not points, curves or a solid model")
    if len(faces) < promised:
        raise source.error(f"{promised} faces promised but {len(faces)} triangles readable", again)
    if faces.min() < 0 or faces.max() >= len(vertices):
        raise source.error(f"a triangle names vertex {faces.max()} of {len(vertices)}", again)
    used = np.zeros(len(vertices), dtype=bool)
    used[faces] = True
    finite = np.isfinite(vertices).all(axis=1)
    bad = ~finite & used
    if bad.any():
        raise source.error(f"{bad.sum()} vertices are not finite numbers, the first is number {bad.argmax()}", again)
    mesh = merged(Mesh(vertices, faces))
    rest = take_out_flat(mesh)
    if not len(rest.mesh.faces):
        raise source.error("every triangle has zero area", again)
    unused = np.ones(len(mesh.vertices), dtype=bool)
    unused[rest.mesh.faces] = False
    return MeshFile(
        mesh=merged(rest.mesh), format=extension, stated_unit=stated,
        triangles_in_file=len(faces), degenerate=rest.flat, bare=rest.bare,
        loose=np.concatenate([vertices[~used & finite], mesh.vertices[unused]]),
    )  # fmt: skip


def merged(mesh: Mesh) -> Mesh:
    """Return the mesh with exactly equal vertices made one and unused ones left out, order kept."""
    corners = mesh.faces.ravel()
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[corners] = True
    renumber = np.cumsum(used) - 1
    first, label = equal_rows(mesh.vertices[used])
    return Mesh(mesh.vertices[used][first], label[renumber[mesh.faces]])


def equal_rows(rows: Array) -> tuple[IntArray, IntArray]:
    """Group exactly equal rows of an (n, 3) array.

    Returns
    -------
    first : (k,) int64
        Index of the first row of each group, ascending.
    label : (n,) int64
        Group of each row.
    """
    order = np.lexsort(rows.T)
    sorted_rows = rows[order]
    starts = np.ones(len(rows), dtype=bool)
    starts[1:] = (sorted_rows[1:] != sorted_rows[:-1]).any(axis=1)
    group = np.cumsum(starts) - 1
    first = np.minimum.reduceat(order, np.flatnonzero(starts)) if len(rows) else order
    rank = np.empty(len(first), dtype=np.int64)
    rank[np.argsort(first)] = np.arange(len(first))
    label = np.empty(len(rows), dtype=np.int64)
    label[order] = rank[group]
    return np.sort(first), label


def _load(path: Path, extension: str) -> tuple[Array, IntArray, str | None]:
    """Flatten whatever trimesh makes of the file into one vertex and one face array."""
    options: dict[str, Any] = {"skip_materials": True} if extension == "obj" else {}
    scene = trimesh.load_scene(path, file_type=extension, process=False, **options)
    vertices, faces, start = [np.zeros((0, 3))], [np.zeros((0, 3), dtype=np.int64)], 0
    for node in scene.graph.nodes_geometry:
        matrix, name = scene.graph[node]
        shape = scene.geometry[name]
        if not isinstance(shape, trimesh.Trimesh | trimesh.PointCloud):
            continue
        matrix = np.asarray(matrix, dtype=np.float64)
        corners = np.asarray(getattr(shape, "faces", np.zeros((0, 3))), dtype=np.int64)
        vertices.append(_placed(np.asarray(shape.vertices, dtype=np.float64), matrix))
        faces.append(start + (corners[:, ::-1] if np.linalg.det(matrix[:3, :3]) < 0 else corners))
        start += len(vertices[-1])
    return np.concatenate(vertices), np.concatenate(faces), _stated_unit(scene, extension)


def _placed(vertices: NDArray[np.float64], matrix: Array) -> Array:
    """Apply a scene transform; leave the digits alone where it is the identity."""
    if np.array_equal(matrix, np.eye(4)):
        return vertices
    placed: Array = vertices @ matrix[:3, :3].T + matrix[:3, 3]
    return placed


def _stated_unit(scene: Any, extension: str) -> str | None:
    """Return the unit the file states, or None."""
    if extension == "glb":
        return "m"
    if extension == "3mf":
        stated = str(scene.metadata.get("units") or "millimeter")
        return STATED_UNITS.get(stated, stated)
    return None


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep trimesh's log and numpy's warnings off the terminal; what matters is raised."""
    log, sink = logging.getLogger("trimesh"), logging.NullHandler()
    propagate, log.propagate = log.propagate, False
    log.addHandler(sink)
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            yield
    finally:
        log.removeHandler(sink)
        log.propagate = propagate


def _one_line(fault: Exception) -> str:
    """Return the first line of an exception's text, shortened."""
    return (str(fault).strip().splitlines() or [""])[0][:120]
