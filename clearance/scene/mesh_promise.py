"""Does a mesh file hold what its own header promises? Asked before a reader allocates anything."""

from __future__ import annotations

import json
import re
import struct
import zipfile
from pathlib import Path

from clearance.scene.ply_header import read_header

LARGEST_UNPACKED = 4 << 30
"""Bytes a zipped mesh may unpack to."""


class Broken(ValueError):
    """The file does not hold what it promises; the message says what was found."""


def promised_triangles(path: Path, extension: str) -> int:
    """Return the fewest triangles the file says it holds; 0 where the format does not say.

    Raises
    ------
    Broken
        If the file is too short for what it promises, or its framing is damaged.
    """
    checks = {"stl": _stl, "ply": _ply, "off": _off, "glb": _glb, "3mf": _zip}
    try:
        return checks[extension](path) if extension in checks else 0
    except (ValueError, KeyError, TypeError, struct.error, zipfile.BadZipFile) as fault:
        raise fault if isinstance(fault, Broken) else Broken(f"damaged {extension.upper()} file ({fault})") from fault


def _stl(path: Path) -> int:
    """Binary: 84 bytes and 50 a triangle. ASCII: three vertices a facet, closed by endsolid."""
    size = path.stat().st_size
    with path.open("rb") as stream:
        head = stream.read(1024)
    promised = struct.unpack_from("<I", head, 80)[0] if len(head) >= 84 else -1
    if size == 84 + 50 * promised:
        return int(promised)
    if head.lstrip()[:5].lower() != b"solid" or b"\0" in head:
        if promised < 0:
            raise Broken(f"{size} bytes, too short for an STL file")
        raise Broken(
            f"the header promises {promised} triangles ({84 + 50 * promised} bytes) but the file has {size} bytes"
        )
    text = path.read_bytes()
    vertices = len(re.findall(rb"(?mi)^\s*vertex\s", text))
    facets = len(re.findall(rb"(?mi)^\s*endfacet", text))
    if vertices != 3 * facets or not re.search(rb"(?mi)^\s*endsolid", text[-4096:]):
        raise Broken(f"cut off: {vertices} vertices, {facets} finished facets, or no 'endsolid' at the end")
    return facets


def _ply(path: Path) -> int:
    header = read_header(path)
    present = path.stat().st_size - header.data_start
    if header.smallest_bytes() > present:
        raise Broken(
            f"the header promises {header.count('vertex')} vertices and {header.count('face')} faces "
            f"(at least {header.smallest_bytes()} bytes) but only {present} bytes follow"
        )
    return header.count("face")


def _off(path: Path) -> int:
    """One line a vertex and a face, each face line with as many indices as it says."""
    text = re.sub(rb"#[^\n]*", b"", path.read_bytes())
    lines = [line for line in text.splitlines() if line.strip()]
    head = lines[0].split()
    if not head or not head[0].upper().endswith(b"OFF"):
        raise Broken("the first line is not 'OFF'")
    counts, rest = (head[1:], lines[1:]) if len(head) > 1 else (lines[1].split() if len(lines) > 1 else [], lines[2:])
    if len(counts) < 2:
        raise Broken("no vertex and face counts after 'OFF'")
    vertices, faces = int(counts[0]), int(counts[1])
    if len(rest) < vertices + faces:
        raise Broken(f"the header promises {vertices} vertices and {faces} faces but only {len(rest)} lines follow")
    corners = rest[vertices + faces - 1].split() if faces else []
    if corners and len(corners) < 1 + int(corners[0]):
        raise Broken("cut off in the last face")
    return faces


def _glb(path: Path) -> int:
    """Length in the header, and no accessor with more items than the file has bytes."""
    size = path.stat().st_size
    with path.open("rb") as stream:
        magic, _, length = struct.unpack("<4sII", stream.read(12))
        chunk, kind = struct.unpack("<I4s", stream.read(8))
        if magic != b"glTF" or kind != b"JSON":
            raise Broken("not a GLB file")
        if length > size or chunk > size:
            raise Broken(f"the header promises {length} bytes but the file has {size}")
        tree = json.loads(stream.read(chunk))
    most = max((accessor["count"] for accessor in tree.get("accessors", [])), default=0)
    if most > size:
        raise Broken(f"an accessor promises {most} items but the file has {size} bytes")
    return 0


def _zip(path: Path) -> int:
    with zipfile.ZipFile(path) as archive:
        unpacked = sum(entry.file_size for entry in archive.infolist())
        if unpacked > LARGEST_UNPACKED:
            raise Broken(f"would unpack to {unpacked} bytes")
        damaged = archive.testzip()
    if damaged:
        raise Broken(f"the packed file '{damaged}' is damaged")
    return 0
