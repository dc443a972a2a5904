"""How coarsely a scan file's coordinates are rounded. Finds and, where it is too coarse, refuses."""

from __future__ import annotations

import re
import struct
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from itertools import islice
from pathlib import Path

import numpy as np
import pye57
from pye57 import libe57

from clearance.frames import Array
from clearance.scene.neighbours import Neighbours
from clearance.scene.pcd_header import read_pcd_header
from clearance.scene.ply_header import read_header
from clearance.scene.scan_readers import text_layout
from clearance.scene.source import Source

FINE_MM = 0.1
"""Steps of so much matter to no verdict: common practice."""

LINES, EVERY = 20_000, 5
MANY = 50
"""Different values of which a common step is taken for the file's, not for the shape's."""

LOOKED_AT = 4000
DECADES = range(3, -10, -1)


@dataclass(frozen=True)
class Grain:
    """Step of a file's coordinates, in its own unit, and how it is known. Nil where none was found."""

    step: float
    why: str


NONE = Grain(0.0, "")


def grain_of(path: Path, extension: str, points: Array) -> Grain:
    """Return the coarsest of the steps that the format, the digits written and the values show.

    LAS states its scale, E57 its scale or precision; text shows its decimals. Whatever the format, values that are
    all numbers of single precision have its spacing, and values that are all round decimals the step of those. Points
    on a regular grid are no proof of a step, unless the digits are written out.

    Parameters
    ----------
    path, extension
        File of points, or a mesh.
    points : (n, 3) float64
        Some of its points, in its unit.
    """
    points = points[np.isfinite(points).all(axis=1)]
    stated = {"las": _las, "laz": _las, "e57": _e57}.get(extension)
    found = [stated(path) if stated else _written(path, extension, points), _single(points), _round(points)]
    return max(found, key=lambda grain: grain.step)


def refuse_coarse(source: Source, grain_mm: float, why: str, accuracy_mm: float) -> None:
    """Raise InputError where rounding, g / sqrt(12) as 1 sigma (JCGM 100:2008, 4.3.7), outweighs the accuracy."""
    allowed = max(FINE_MM, float(np.sqrt(12.0)) * accuracy_mm)
    if grain_mm <= allowed:
        return
    raise source.error(
        f"its coordinates come in steps of {grain_mm:.3g} mm ({why}), too coarse beside an accuracy of "
        f"{accuracy_mm:g} mm",
        f"export it with more decimals, a finer scale or nearer to the origin: steps of at most {allowed:.2g} mm; "
        "or state the accuracy that such steps leave, as bay.accuracy",
    )


def _las(path: Path) -> Grain:
    with path.open("rb") as stream:
        stream.seek(131)
        scales = struct.unpack("<3d", stream.read(24))
    return Grain(max(map(abs, scales)), "the scale in its header")


def _e57(path: Path) -> Grain:
    found = [NONE]
    file = pye57.E57(str(path))
    try:
        for index in range(file.scan_count):
            header = file.get_header(index)
            fields = libe57.StructureNode(header.points.prototype())
            for axis in "XYZ":
                if not fields.isDefined(f"cartesian{axis}"):
                    continue
                node = fields[f"cartesian{axis}"]
                if isinstance(node, libe57.ScaledIntegerNode):
                    found.append(Grain(abs(float(node.scale())), "the scale in its header"))
    finally:
        file.close()
    return max(found, key=lambda grain: grain.step)


def _written(path: Path, extension: str, points: Array) -> Grain:
    """Return the step of the digits written, of the axis where it is coarsest."""
    axes = [set(texts) for texts in zip(*islice(_rows(path, extension), 0, LINES, EVERY), strict=True)]
    try:
        numbers = [[Decimal(text) for text in axis] for axis in axes]
    except InvalidOperation:
        return NONE
    ends = [{_exponent(number) for number in axis} for axis in numbers]
    if ends and max(map(len, ends)) == 1 and sum(map(len, numbers)) >= MANY:  # digits are written out, noughts too
        return Grain(10.0 ** max(max(end) for end in ends), "the decimals written")
    step = _significant([number for axis in numbers for number in axis])
    return NONE if step is None or _on_grid(points) else Grain(10.0**step, "the digits written")


def _exponent(number: Decimal) -> int:
    """Return the power of ten of a number's last digit."""
    return int(number.as_tuple().exponent)


def _significant(numbers: list[Decimal]) -> int | None:
    """Return the power of ten of the last of as many digits as are written at most, in the largest numbers.

    For writers that leave noughts out. Sizes of number that hardly occur do not count.
    """
    sizes = Counter(number.adjusted() for number in numbers)
    common = [number for number in numbers if sizes[number.adjusted()] >= MANY]
    if not common:
        return None
    after = max(number.adjusted() - _exponent(number) for number in common)
    return max(number.adjusted() for number in common) - after


def _rows(path: Path, extension: str) -> Iterator[Sequence[str]]:
    """Yield x, y and z as written, of formats that are text."""
    separator, columns, skip = None, (0, 1, 2), 0
    if extension in ("xyz", "txt", "csv"):
        with path.open("r", encoding="utf-8-sig", errors="replace") as stream:
            separator, columns, skip = text_layout(stream)
    elif extension == "pcd" and read_pcd_header(path).data == "ascii":
        columns = read_pcd_header(path).columns
        skip = path.read_bytes()[: read_pcd_header(path).data_start].count(b"\n")
    elif extension == "ply" and not read_header(path).order:
        names = [name for name, _, _ in read_header(path).elements[0].properties]
        columns = (names.index("x"), names.index("y"), names.index("z"))
        with path.open("rb") as raw:
            skip = raw.read(read_header(path).data_start).count(b"\n")
    else:
        return
    with path.open("r", encoding="utf-8-sig", errors="replace") as stream:
        for line in islice(stream, skip, skip + LINES):
            fields = [field.strip(' "') for field in re.split(r"\s+" if separator is None else separator, line.strip())]
            if len(fields) > max(columns) and not fields[0].startswith(("#", "//")):
                yield [fields[column] for column in columns]


def _single(points: Array) -> Grain:
    """Return the spacing of single precision where all values have no more of it."""
    if len(np.unique(points[:LOOKED_AT])) < MANY or np.abs(points).max() > np.finfo(np.float32).max:
        return NONE
    if (points != points.astype(np.float32)).any():
        return NONE
    return Grain(float(np.spacing(np.float32(np.abs(points).max()))), "single precision so far from the origin")


def _round(points: Array) -> Grain:
    """Return the power of ten of which all values, of every axis that has many, are multiples."""
    sample = points[np.linspace(0, len(points) - 1, min(LOOKED_AT, len(points))).astype(np.int64)]
    many = [values for values in map(np.unique, sample.T) if len(values) >= MANY]
    for decade in DECADES if len(many) >= 2 else ():
        step = 10.0**decade
        exact = [np.maximum(np.spacing(np.abs(v).astype(np.float32)), 1e-9 * step) for v in many]
        if max(float(e.max()) for e in exact) > step / 50:
            return NONE
        if all((np.abs(v - np.round(v / step) * step) <= e).all() for v, e in zip(many, exact, strict=True)):
            return NONE if _on_grid(points) else Grain(step, "its values are all multiples of that")
    return NONE


def _on_grid(points: Array) -> bool:
    """Tell whether points are steps of a regular grid: none twice, and few different ways to the nearest one."""
    away = np.abs(points - points[len(points) // 2]).max(axis=1)
    near = points[np.argsort(away, kind="stable")[:LOOKED_AT]]
    places = np.unique(near, axis=0)
    if len(places) < 0.9 * len(near) or len(places) < 2:
        return False
    nearest = places[Neighbours(places).nearest(places, 2)[1][:, 1]]
    ways = np.abs(nearest - places)
    scale = max(float(ways.max()), 1e-300)
    return len(np.unique(np.round(ways / scale, 4), axis=0)) <= 12
