"""Scan files to one array of points in mm. Reads, refuses and counts; does not judge the points."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from clearance.errors import ClearanceError
from clearance.frames import Array
from clearance.scene import mesh_io
from clearance.scene.damaged import Damaged
from clearance.scene.grain import grain_of, refuse_coarse
from clearance.scene.mesh import Mesh
from clearance.scene.ply_header import read_header
from clearance.scene.scan_readers import BLOCK, READERS
from clearance.scene.sieve import Sieve
from clearance.scene.source import Source
from clearance.scene.surface_samples import sample_surface

EXTENSIONS = tuple(dict.fromkeys((*READERS, *mesh_io.EXTENSIONS)))
SMALLEST_MM, LARGEST_MM = 20.0, 200_000.0
"""Bounding diagonals of a scan, mm; outside them the unit is taken to be wrong."""

FARTHEST_MM = 1e12
"""Largest coordinate that is believed, mm: the square of a wilder one has no room in a number."""

AGAIN = "export the scan again"

NAN_IS_NO_RETURN = ("pcd", "e57")
"""Formats in which an organised scan writes NaN where no light came back."""


@dataclass(frozen=True, kw_only=True)
class ScanFile:
    """What one scan file gave.

    Attributes
    ----------
    path : Path
    format : str
        Extension, lower case.
    kept : int
        Points with a return inside the box; all those of one file go to the sieve.
    no_return : int
        Points dropped because the file marks them as without a return.
    outside : int
        Points dropped because they lie outside the box asked for.
    triangles : int
        Triangles, where the file is a mesh.
    sample_mm : float or None
        For a mesh: longest edge of the pieces its triangles were split into, mm.
    grain_mm : float
        Step in which its coordinates come, mm (`clearance.scene.grain`); 0 where none was found.
    grain_why : str
        How that is known.
    """

    path: Path
    format: str
    kept: int
    no_return: int
    outside: int
    triangles: int
    sample_mm: float | None
    grain_mm: float
    grain_why: str


@dataclass(frozen=True, eq=False)
class RawScan:
    """Points of all files, (n, 3) float64, mm, in the order of the files, and what each file gave."""

    points: Array
    files: tuple[ScanFile, ...]


def sift_scan(
    files: Sequence[Path], unit: str, sieve: Sieve, accuracy_mm: float, *, key: str, where: Path | str | None
) -> list[ScanFile]:
    """Read scans as `read_scan` does, block by block into a sieve: memory follows what it keeps.

    Raises InputError also where coordinates are too coarse beside the accuracy, 1 sigma.
    """
    found = []
    for number, path in enumerate(files):
        source = Source(path, key, where)
        if not is_cloud(source):
            points, file = _read_mesh(source, unit, None)
            for start in range(0, len(points), BLOCK):
                sieve.add(points[start : start + BLOCK], number)
        else:
            low, high, file = _stream(source, _factor(source, unit), None, lambda block, n=number: sieve.add(block, n))  # type: ignore[misc]
            source.check_size(float(np.linalg.norm(high - low)), unit, SMALLEST_MM, LARGEST_MM)
        refuse_coarse(source, file.grain_mm, file.grain_why, accuracy_mm)
        found.append(file)
    return found


def read_scan(
    files: Sequence[Path],
    unit: str,
    *,
    key: str = "bay: files",
    where: Path | str | None = None,
    box: tuple[Array, Array] | None = None,
) -> RawScan:
    """Read and merge scans: PLY, PCD, XYZ, TXT, CSV, LAS, LAZ, E57 and meshes.

    A mesh gives its vertices and, where edges are longer than 1 mm, points between them (see
    `surface_samples`), since its surface between vertices was seen too; its vertices without a triangle count as well.

    Parameters
    ----------
    files : sequence of Path
    unit : str
        Unit of the coordinates: mm, cm, m or in. E57 and GLB are metres by their standards, 3MF
        states its unit; a unit that differs is refused.
    key, where
        Place that names the files, for messages.
    box : pair of (3,) float64, optional
        Lowest and highest corner, mm. Points outside are dropped while reading, so that memory
        follows what is kept.

    Raises
    ------
    InputError
        If a file is missing, empty, of an unknown type, shorter than it promises, garbled, holds no
        point or a non-finite coordinate (in PCD and E57 those mean "no return": dropped and
        counted), contradicts the unit, or has a bounding diagonal outside 20 mm to 200 m.
    """
    read = [_read_one(Source(path, key, where), unit, box) for path in files]
    points = np.concatenate([np.zeros((0, 3)), *(points for points, _ in read)])
    return RawScan(points, tuple(file for _, file in read))


def is_cloud(source: Source) -> bool:
    """Whether a file holds points and no triangles. Raises InputError if it cannot be either."""
    extension = source.check(EXTENSIONS)
    return extension in READERS and not (extension == "ply" and _has_faces(source))


def stated_unit(extension: str) -> str | None:
    """Return the unit that a point format fixes: ASTM E2807 makes E57 metres."""
    return "m" if extension == "e57" else None


@dataclass(frozen=True, eq=False)
class Cloud:
    """One file of points as read: (n, 3) float64 and the corners of the box of all its points, and what it gave."""

    points: Array
    low: Array
    high: Array
    file: ScanFile


def read_cloud(source: Source, factor: float = 1.0, box: tuple[Array, Array] | None = None) -> Cloud:
    """Read one file of points, times `factor`, without judging its size. Raises InputError as `read_scan`."""
    kept = list[Array]()
    low, high, file = _stream(source, factor, box, kept.append)
    return Cloud(np.concatenate(kept), low, high, file)


def _stream(
    source: Source, factor: float, box: tuple[Array, Array] | None, take: Callable[[Array], None]
) -> tuple[Array, Array, ScanFile]:
    """Hand over a file of points block by block; return the corners of the box of all its points, and what it gave."""
    extension = source.check(tuple(READERS))
    kept, total, lost, first, grain = 0, 0, 0, -1, None
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for block in _blocks(source, extension):
        finite = np.isfinite(block).all(axis=1)
        if first < 0 and not finite.all():
            first = total + int((~finite).argmax())
        total, lost = total + len(block), lost + int((~finite).sum())
        block = block[finite]
        if grain is None and len(block):
            grain = grain_of(source.path, extension, block)
        block = block * factor
        if len(block) and np.abs(block).max() > FARTHEST_MM:
            worst = float(block.ravel()[np.abs(block).argmax()]) / factor
            raise source.error(f"a coordinate of {worst:.4g}", AGAIN)
        low = np.minimum(low, block.min(axis=0, initial=np.inf))
        high = np.maximum(high, block.max(axis=0, initial=-np.inf))
        block = _inside(block, box)
        kept += len(block)
        take(block)
    if lost and extension not in NAN_IS_NO_RETURN:
        raise source.error(
            f"{lost} points are not finite numbers, the first is point {first} (from 0)",
            "remove them or export the scan again",
        )
    if total == lost:
        raise source.error(f"none of {total} points has a return" if total else "no point in the file", AGAIN)
    file = ScanFile(
        path=source.path, format=extension, kept=kept, no_return=lost,
        outside=total - lost - kept, triangles=0, sample_mm=None,
        grain_mm=grain.step * factor if grain else 0.0, grain_why=grain.why if grain else "",
    )  # fmt: skip
    return low, high, file


def _read_one(source: Source, unit: str, box: tuple[Array, Array] | None) -> tuple[Array, ScanFile]:
    """Read one file of any kind in mm."""
    if not is_cloud(source):
        return _read_mesh(source, unit, box)
    cloud = read_cloud(source, _factor(source, unit), box)
    source.check_size(float(np.linalg.norm(cloud.high - cloud.low)), unit, SMALLEST_MM, LARGEST_MM)
    return cloud.points, cloud.file


def _factor(source: Source, unit: str) -> float:
    return source.factor(unit, stated_unit(source.path.suffix.lower().removeprefix(".")), "the E57 standard")


def _blocks(source: Source, extension: str) -> Iterator[Array]:
    """Run a reader and turn whatever it raises into an InputError."""
    try:
        yield from READERS[extension](source.path)
    except ClearanceError:
        raise
    except Damaged as fault:
        raise source.error(str(fault), fault.wanted) from fault
    except BaseException as fault:  # the format libraries raise whatever their parsers stumble on
        if not isinstance(fault, Exception) and type(fault).__name__ != "PanicException":  # Rust's are no Exception
            raise
        text = (str(fault).strip().splitlines() or [""])[0][:120]
        raise source.error(f"unreadable {extension.upper()} ({type(fault).__name__}: {text})", AGAIN) from fault


def _read_mesh(source: Source, unit: str, box: tuple[Array, Array] | None) -> tuple[Array, ScanFile]:
    """Read a meshed scan as points on its surface."""
    raw = mesh_io.read_raw(source)
    factor = source.factor(unit, raw.stated_unit)
    mesh = Mesh(raw.mesh.vertices * factor, raw.mesh.faces)
    loose = raw.loose * factor
    seen = np.vstack([mesh.vertices, loose])
    source.check_size(float(np.linalg.norm(np.ptp(seen, axis=0))), unit, SMALLEST_MM, LARGEST_MM)
    grain = grain_of(source.path, raw.format, np.vstack([raw.mesh.vertices, raw.loose]))
    samples, edge_mm = sample_surface(mesh)
    samples = np.vstack([samples, loose])
    points = _inside(samples, box)
    return points, ScanFile(
        path=source.path, format=raw.format, kept=len(points), no_return=0,
        outside=len(samples) - len(points), triangles=len(mesh.faces), sample_mm=edge_mm,
        grain_mm=grain.step * factor, grain_why=grain.why,
    )  # fmt: skip


def _has_faces(source: Source) -> bool:
    """Whether a PLY file is a mesh. Raises InputError if its header is unreadable."""
    try:
        return read_header(source.path).count("face") > 0
    except ValueError as fault:
        raise source.error(f"damaged PLY file ({fault})", AGAIN) from fault


def _inside(points: Array, box: tuple[Array, Array] | None) -> Array:
    """Return the points inside the box."""
    if box is None:
        return points
    inside: Array = points[((points >= box[0]) & (points <= box[1])).all(axis=1)]
    return inside
