"""What a PLY file's header promises, checked against the bytes that are there. Reads no geometry."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

TYPES = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1", "short": "i2", "int16": "i2", "ushort": "u2",
    "uint16": "u2", "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4", "float": "f4", "float32": "f4",
    "double": "f8", "float64": "f8",
}  # fmt: skip
ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
LONGEST_HEADER = 1 << 20


@dataclass(frozen=True)
class Element:
    """One PLY element: its name, how many, and its properties as (name, numpy type; list length type or "")."""

    name: str
    count: int
    properties: tuple[tuple[str, str, str], ...]

    @property
    def smallest_bytes(self) -> int:
        """Bytes of one binary record if every list were empty."""
        return sum(np.dtype(length or kind).itemsize for _, kind, length in self.properties)

    @property
    def has_list(self) -> bool:
        """Whether records differ in length."""
        return any(length for _, _, length in self.properties)


@dataclass(frozen=True)
class PlyHeader:
    """Parsed header. `order` is "", "<" or ">"; `data_start` the offset of the first data byte."""

    order: str
    elements: tuple[Element, ...]
    data_start: int

    def count(self, name: str) -> int:
        """Return how many records of element `name` the header promises."""
        return sum(e.count for e in self.elements if e.name == name)

    def smallest_bytes(self) -> int:
        """Return the fewest data bytes that could hold what is promised (ASCII: two a number)."""
        if self.order:
            return sum(e.count * e.smallest_bytes for e in self.elements)
        return sum(e.count * 2 * len(e.properties) for e in self.elements) - 1


def read_header(path: Path) -> PlyHeader:
    """Parse the header of a PLY file. Raises ValueError with the reason if it is not one."""
    with path.open("rb") as stream:
        head = stream.read(LONGEST_HEADER)
    if head[:3] != b"ply":
        raise ValueError("the first line is not 'ply'")
    end = head.find(b"\nend_header")
    line_end = head.find(b"\n", end + 1)
    if end < 0 or line_end < 0:
        raise ValueError("the header has no 'end_header'")
    order, elements = None, list[Element]()
    for line in head[:end].decode("ascii", "replace").splitlines():
        match line.split():
            case ["format", name, _] if name in ORDERS:
                order = ORDERS[name]
            case ["element", name, count]:
                elements.append(Element(name, _natural(count), ()))
            case ["property", "list", length, kind, name] if elements:
                elements[-1] = _with(elements[-1], name, _type(kind), _type(length))
            case ["property", kind, name] if elements:
                elements[-1] = _with(elements[-1], name, _type(kind), "")
            case ["ply"] | ["comment", *_] | ["obj_info", *_] | []:
                pass
            case _:
                raise ValueError(f"unreadable header line '{line[:60]}'")
    if order is None:
        raise ValueError("the header has no known 'format'")
    return PlyHeader(order, tuple(elements), line_end + 1)


def _with(element: Element, name: str, kind: str, length: str) -> Element:
    """Add a property to an element."""
    return Element(element.name, element.count, (*element.properties, (name, kind, length)))


def _type(name: str) -> str:
    """Translate a PLY type name into numpy's."""
    if name not in TYPES:
        raise ValueError(f"unknown property type '{name}'")
    return TYPES[name]


def _natural(text: str) -> int:
    """Parse a count."""
    if not text.isdigit():
        raise ValueError(f"a count of '{text}'")
    return int(text)
