"""What a PCD file's header promises, checked against the bytes that are there. Reads no points."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from clearance.scene.damaged import Damaged

LZF_RATIO = 100
"""LZF, which packs PCD, turns at most 264 bytes into 3."""

KINDS = {"F": "f", "I": "i", "U": "u"}
LONGEST_HEADER = 1 << 16


@dataclass(frozen=True)
class PcdHeader:
    """Header of a PCD file, version 0.7.

    Attributes
    ----------
    data : "ascii", "binary" or "binary_compressed"
    data_start : int
        Byte at which the points begin.
    count : int
    record : fields of a point as a NumPy type, little endian
    columns : of x, y and z, counted in numbers, as they stand on a line
    """

    data: str
    data_start: int
    count: int
    record: np.dtype[np.void]
    columns: tuple[int, int, int]


def read_pcd_header(path: Path) -> PcdHeader:
    """Read the header.

    Raises
    ------
    Damaged
        If it is none, or the file is too short for what it promises.
    """
    with path.open("rb") as stream:
        head = stream.read(LONGEST_HEADER)
        match = re.search(rb"(?mi)^DATA\s+(ascii|binary_compressed|binary)\s*$", head)
        if not match:
            raise Damaged("no 'DATA' line, not a PCD file")
        start = head.index(b"\n", match.end() - 1) + 1
        stream.seek(start)
        packed, unpacked = (int.from_bytes(stream.read(4), "little") for _ in range(2))
    words = (line.split() for line in head[: match.start()].decode("ascii", "replace").splitlines())
    fields = {line[0].upper(): line[1:] for line in words if line}
    names = [name.lower() for name in fields.get("FIELDS", [])]
    if not {"x", "y", "z"} <= set(names):
        raise Damaged("the points have no x, y, z")
    record, repeats = _record(names, fields)
    count, data = int(fields["POINTS"][0]), match.group(1).decode().lower()
    if data == "binary_compressed" and unpacked != record.itemsize * count:
        raise Damaged(f"{count} points of {record.itemsize} bytes promised, but {unpacked} bytes packed")
    needed = {
        "ascii": 2 * sum(repeats) * count - 1,
        "binary": record.itemsize * count,
        "binary_compressed": max(packed + 8, record.itemsize * count // LZF_RATIO),
    }[data]
    present = path.stat().st_size - start
    if needed > present:
        raise Damaged(f"{count} points promised (at least {needed} bytes) but only {present} bytes follow")
    columns = [sum(repeats[: names.index(axis)]) for axis in "xyz"]
    return PcdHeader(data, start, count, record, (columns[0], columns[1], columns[2]))


def _record(names: list[str], fields: dict[str, list[str]]) -> tuple[np.dtype[np.void], list[int]]:
    """Return the type of a point, its fields numbered but for x, y and z, and how many numbers each field has."""
    sizes, types = [int(size) for size in fields["SIZE"]], fields["TYPE"]
    repeats = [int(count) for count in fields.get("COUNT", ["1"] * len(sizes))]
    if min(sizes + repeats, default=0) < 1:
        raise Damaged(f"the header gives a field no bytes: SIZE {sizes}, COUNT {repeats}")
    if not len(names) == len(sizes) == len(types) == len(repeats):
        raise Damaged(f"{len(names)} fields, but {len(sizes)} sizes, {len(types)} types and {len(repeats)} counts")
    labels = [name if name in "xyz" else f"_{place}" for place, name in enumerate(names)]
    kinds = [f"<{KINDS[kind.upper()]}{size}" for kind, size in zip(types, sizes, strict=True)]
    return np.dtype([(a, b, (n,)) for a, b, n in zip(labels, kinds, repeats, strict=True)]), repeats
