"""One reader a scan format. Each yields (n, 3) float64 blocks in the file's own unit; none judges them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from typing import TextIO

import laspy
import numpy as np
import pye57

from clearance.frames import Array
from clearance.scene.damaged import Damaged
from clearance.scene.las_header import check_las
from clearance.scene.open3d_import import open3d
from clearance.scene.pcd_header import PcdHeader, read_pcd_header
from clearance.scene.ply_header import PlyHeader, read_header

BLOCK = 1_000_000
"""Points read at a time."""

BLOCK_BYTES = 1 << 28
"""Bytes of LAS records read at a time at most."""

INDEX_ROWS, LEAST_INDEXED = 1000, 50
"""Rows looked at for a column that counts them, and how few of them tell."""

Blocks = Iterator[Array]


def ply_points(path: Path) -> Blocks:
    """Yield the vertices of a PLY file, binary of either byte order or ASCII."""
    header = read_header(path)
    vertex = header.elements[0] if header.elements else None
    if vertex is None or vertex.name != "vertex" or vertex.has_list:
        raise Damaged("the first element is not a plain 'vertex'")
    names = [name for name, _, _ in vertex.properties]
    if not {"x", "y", "z"} <= set(names):
        raise Damaged(f"the vertices have no x, y, z but {' '.join(names)}")
    promised, present = header.smallest_bytes(), path.stat().st_size - header.data_start
    if promised > present:
        raise Damaged(f"{vertex.count} points promised (at least {promised} bytes) but only {present} bytes follow")
    yield from _binary_ply(path, header) if header.order else _ascii_ply(path, header, names)


def _binary_ply(path: Path, header: PlyHeader) -> Blocks:
    """Map the vertex records and copy out x, y, z block by block."""
    vertex = header.elements[0]
    record = np.dtype([(name, header.order + kind) for name, kind, _ in vertex.properties])
    table = np.memmap(path, dtype=record, mode="r", offset=header.data_start, shape=(vertex.count,))
    for start in range(0, vertex.count, BLOCK):
        part = table[start : start + BLOCK]
        yield np.column_stack([part[axis].astype(np.float64) for axis in "xyz"])


def _ascii_ply(path: Path, header: PlyHeader, names: list[str]) -> Blocks:
    """Read the vertex lines."""
    with path.open("r", encoding="ascii", errors="replace") as stream:
        for line in stream:
            if line.strip() == "end_header":
                break
        lines = islice(stream, header.elements[0].count)
        found = 0
        for block in _number_lines(lines, None, tuple(names.index(axis) for axis in "xyz")):
            found += len(block)
            yield block
    if found < header.elements[0].count:
        raise Damaged(f"{header.elements[0].count} points promised but only {found} lines follow")


def text_points(path: Path) -> Blocks:
    """Yield points of a text file: x y z first on each line, or under headings named x, y, z.

    Separated by blanks, commas, semicolons or tabs; lines that begin with # or // are comments; a
    first line of a single number is taken as the point count that some programs write.
    """
    with path.open("r", encoding="utf-8-sig", errors="replace") as stream:
        separator, columns, skip = text_layout(stream)
    with path.open("r", encoding="utf-8-sig", errors="replace") as stream:
        if columns == (0, 1, 2):
            _refuse_index(list(islice(stream, skip, skip + INDEX_ROWS)), separator)
    with path.open("r", encoding="utf-8-sig", errors="replace") as stream:
        yield from _number_lines(islice(stream, skip, None), separator, columns, first_line=skip + 1)


def text_layout(stream: TextIO) -> tuple[str | None, tuple[int, int, int], int]:
    """Return separator, columns of x, y, z and how many lines to skip, from the first lines."""
    for skip, line in enumerate(stream):
        text = line.strip()
        if not text or text.startswith(("#", "//")):
            continue
        separator = next((s for s in (";", ",", "\t") if s in text), None)
        fields = [field.strip(' "') for field in text.split(separator)]
        if separator == ";" and any(re.fullmatch(r"[-+]?\d+,\d+", field) for field in fields):
            raise Damaged(f"line {skip + 1} has decimal commas; only decimal points are read")
        if len(fields) == 1 and re.fullmatch(r"\d+", fields[0]):
            continue
        if all(_is_number(field) for field in fields[:3]):
            return separator, (0, 1, 2), skip
        names = [field.lower() for field in fields]
        if {"x", "y", "z"} <= set(names):
            return separator, (names.index("x"), names.index("y"), names.index("z")), skip + 1
        raise Damaged(f"line {skip + 1} is neither numbers nor headings with x, y, z: '{text[:40]}'")
    raise Damaged("no line with numbers")


def _refuse_index(lines: list[str], separator: str | None) -> None:
    """Refuse points whose first column of more than three numbers the rows."""
    rows = [row for line in lines if (row := [field.strip(' "') for field in line.strip().split(separator)]) != [""]]
    rows = [row for row in rows if row and not row[0].startswith(("#", "//"))]
    if len(rows) < LEAST_INDEXED or min(map(len, rows)) < 4 or not all(_is_number(row[0]) for row in rows):
        return
    first = np.array([float(row[0]) for row in rows])
    if (np.diff(first) == 1).all() and (first == np.round(first)).all():
        raise Damaged(
            f"its first column counts the rows ({rows[0][0]}, {rows[1][0]}, {rows[2][0]}, ...) and would be read as x",
            "delete that column, so that x y z come first, or name the columns x, y, z in a first line",
        )


def _is_number(text: str) -> bool:
    """Whether float() takes it."""
    try:
        float(text)
    except ValueError:
        return False
    return True


def _number_lines(
    lines: Iterator[str], separator: str | None, columns: tuple[int, ...], first_line: int | None = None
) -> Blocks:
    """Parse lines into blocks of the given columns."""
    start = 0
    while batch := list(islice(lines, BLOCK)):
        kept = [line for line in batch if (text := line.strip()) and not text.startswith(("#", "//"))]
        try:
            if kept:
                yield np.loadtxt(kept, delimiter=separator, usecols=columns, comments=None, ndmin=2, dtype=np.float64)
        except ValueError as fault:
            place = "" if first_line is None else f" after line {first_line + start}"
            raise Damaged(f"unreadable numbers{place} ({str(fault).splitlines()[0][:100]})") from fault
        start += len(batch)


def las_points(path: Path) -> Blocks:
    """Yield points of LAS or LAZ with scale and offset applied in float64."""
    check_las(path)
    with laspy.open(path) as reader:
        header = reader.header
        needed = header.offset_to_point_data + header.point_count * header.point_format.size
        packed = header.are_points_compressed
        if not packed and needed > path.stat().st_size:
            raise Damaged(
                f"{header.point_count} points promised ({needed} bytes) but the file has {path.stat().st_size}"
            )
        found = 0
        for chunk in reader.chunk_iterator(max(1, min(BLOCK, BLOCK_BYTES // header.point_format.size))):
            found += len(chunk)
            yield np.column_stack([np.asarray(axis, dtype=np.float64) for axis in (chunk.x, chunk.y, chunk.z)])
        if found != header.point_count:
            raise Damaged(f"{header.point_count} points promised but {found} readable")


def e57_points(path: Path) -> Blocks:
    """Yield the points of every scan of an E57 file, poses applied; invalid ones come as NaN."""
    file = pye57.E57(str(path))
    try:
        for index in range(file.scan_count):
            promised = file.get_header(index).point_count
            if promised > 8 * path.stat().st_size:
                raise Damaged(f"scan {index} promises {promised} points, more than the file has bits")
            data = file.read_scan(index, transform=True, ignore_missing_fields=True)
            points = np.column_stack([data[f"cartesian{axis}"] for axis in "XYZ"]).astype(np.float64)
            yield np.concatenate([points, np.full((promised - len(points), 3), np.nan)])
    finally:
        file.close()


def pcd_points(path: Path) -> Blocks:
    """Yield the points of a PCD file; points without a return come as NaN. Packed ones are unpacked by open3d."""
    header = read_pcd_header(path)
    found = 0
    read = {"ascii": _ascii_pcd, "binary": _binary_pcd, "binary_compressed": _packed_pcd}[header.data]
    for block in read(path, header):
        found += len(block)
        yield block
    if found != header.count:
        raise Damaged(f"{header.count} points promised but {found} readable")


def _ascii_pcd(path: Path, header: PcdHeader) -> Blocks:
    with path.open("rb") as stream:
        stream.seek(header.data_start)
        lines = (line.decode("ascii", "replace") for line in islice(stream, header.count))
        yield from _number_lines(lines, None, header.columns)


def _binary_pcd(path: Path, header: PcdHeader) -> Blocks:
    table = np.memmap(path, dtype=header.record, mode="r", offset=header.data_start, shape=(header.count,))
    for start in range(0, header.count, BLOCK):
        part = table[start : start + BLOCK]
        yield np.column_stack([part[axis][:, 0].astype(np.float64) for axis in "xyz"])


def _packed_pcd(path: Path, _header: PcdHeader) -> Blocks:
    cloud = open3d().io.read_point_cloud(
        str(path), format="pcd", remove_nan_points=False, remove_infinite_points=False, print_progress=False
    )
    yield np.asarray(cloud.points, dtype=np.float64)


READERS: dict[str, Callable[[Path], Blocks]] = {
    "ply": ply_points, "pcd": pcd_points, "xyz": text_points, "txt": text_points, "csv": text_points,
    "las": las_points, "laz": las_points, "e57": e57_points,
}  # fmt: skip
