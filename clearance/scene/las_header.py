"""Check a LAS or LAZ header before libraries trust it: they make room for whatever it promises."""

from __future__ import annotations

import struct
from pathlib import Path

from clearance.scene.damaged import Damaged

LEAST_CHUNK = 20
"""Bytes of a LAZ chunk at least: its first point is stored as it is."""

MOST_CHUNK_BYTES = 1 << 30
"""Unpacked bytes of a LAZ chunk at most; writers make chunks of 50 000 points."""

VARIABLE = 0xFFFFFFFF
"""Chunk size of files whose chunks say their own."""

PACKING_RECORD = 22204
"""Number of the record that tells how points are packed (Isenburg 2013, LASzip)."""


def check_las(path: Path) -> None:
    """Check that a LAS header (ASPRS LAS 1.4 R15, table 3) names no more than fits into the file.

    laspy reads all records that it names, and lazrs makes room for what it says of the packing.

    Raises
    ------
    Damaged
        With what was found.
    """
    size = path.stat().st_size
    with path.open("rb") as stream:
        head = stream.read(375)
    if len(head) < 227 or head[:4] != b"LASF":
        raise Damaged("not a LAS file, or cut off in its header")
    length, start, records = struct.unpack_from("<HII", head, 94)
    after, more = struct.unpack_from("<QI", head, 235) if head[25] >= 4 and len(head) >= 247 else (0, 0)
    if length + 54 * records > size or start > size or (more and after + 60 * more > size):
        raise Damaged(f"the header names {records + more} records that do not fit into {size} bytes")
    if head[104] & 0x80:
        (record,) = struct.unpack_from("<H", head, 105)
        _check_laz_packing(path, length, records, record)
        _check_laz_chunks(path, start, size)


def _check_laz_chunks(path: Path, start: int, size: int) -> None:
    """Check that a LAZ file has no more chunks than fit: lazrs makes room for as many as the table says.

    The table's place stands before the points, or is -1 and stands at the file's end (Isenburg 2013, LASzip).
    """
    with path.open("rb") as stream:
        stream.seek(start)
        (place,) = struct.unpack("<q", stream.read(8).ljust(8, b"\0"))
        if place == -1:
            stream.seek(max(size - 8, 0))
            (place,) = struct.unpack("<q", stream.read(8).ljust(8, b"\0"))
        if not start < place <= size - 8:
            raise Damaged(f"the table of its chunks would be at byte {place} of {size}")
        stream.seek(place + 4)
        (chunks,) = struct.unpack("<I", stream.read(4))
    if chunks * LEAST_CHUNK > size:
        raise Damaged(f"{chunks} chunks promised, more than fit into {size} bytes")


def _check_laz_packing(path: Path, start: int, records: int, record_bytes: int) -> None:
    """Check that the packing of a LAZ file has items that fill a record, and chunks that fit into memory."""
    with path.open("rb") as stream:
        stream.seek(start)
        for _ in range(records):
            head = stream.read(54)
            number, length = struct.unpack_from("<HH", head, 18)
            content = stream.read(length)
            if number == PACKING_RECORD and len(content) >= 34:
                break
        else:
            raise Damaged("packed points, but no record that tells how")
    chunk, items = struct.unpack_from("<I", content, 12)[0], struct.unpack_from("<H", content, 32)[0]
    filled = sum(struct.unpack_from("<H", content, 36 + 6 * k)[0] for k in range(min(items, (len(content) - 34) // 6)))
    if filled != record_bytes:
        raise Damaged(f"its packed items fill {filled} of the {record_bytes} bytes of a point")
    if chunk != VARIABLE and chunk * record_bytes > MOST_CHUNK_BYTES:
        raise Damaged(f"{chunk} points promised in a chunk")
