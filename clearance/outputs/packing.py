"""Numbers for the pages: whole steps, differences, byte planes, deflate, base64. Decoded by templates/stage.js.

For the eye and for pages that work offline; nothing that decides a verdict is read back from here.
"""

from __future__ import annotations

import base64
import zlib
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.frames import Array
from clearance.scene.mesh import IntArray

CELLS = 1 << 10
"""Cells along each side of the grid in which points are brought into an order that keeps neighbours together."""

NOTHING = -(1 << 24)
"""Stands for "not a number" among whole steps."""


def pack(columns: ArrayLike, *, differences: bool = True) -> dict[str, Any]:
    """Pack whole numbers, (n,) or (n, k), |value| < 2**29, column by column.

    Returns
    -------
    dict
        `n`, `k`, `planes` (bytes a number), `differences` (whether each is told by its difference from
        the one before, the first from 0) and `data`: zlib stream in base64 of the zigzag-coded numbers, all
        lowest bytes first, then all second bytes, and so on.
    """
    values = np.atleast_2d(np.asarray(columns, np.int64).T)
    steps = np.diff(values, axis=1, prepend=0) if differences else values
    codes = ((steps << 1) ^ (steps >> 63)).astype(np.uint32).ravel()
    planes = max(1, (int(codes.max(initial=0)).bit_length() + 7) // 8)
    raw = b"".join(((codes >> (8 * i)) & 0xFF).astype(np.uint8).tobytes() for i in range(planes))
    return {
        "n": values.shape[1],
        "k": values.shape[0],
        "planes": planes,
        "differences": differences,
        "data": base64.b64encode(zlib.compress(raw, 6)).decode("ascii"),
    }


def pack_points(points: Array, origin: Array, step_mm: float) -> dict[str, Any]:
    """Pack (n, 3) points, mm, as whole steps from `origin`: each coordinate to within half a step."""
    return {**pack(np.rint((points - origin) / step_mm)), "step": step_mm}


def pack_lengths(lengths: ArrayLike, step_mm: float) -> dict[str, Any]:
    """Pack lengths, (n,) mm, as whole steps; NaN becomes `NOTHING`."""
    steps = np.rint(np.asarray(lengths, np.float64) / step_mm)
    return {**pack(np.nan_to_num(steps, nan=NOTHING, posinf=-NOTHING, neginf=NOTHING + 1)), "step": step_mm}


def pack_faces(faces: IntArray) -> dict[str, Any]:
    """Pack (m, 3) corner numbers: the first of each by its difference, the others by theirs from the first."""
    first = faces[:, :1]
    told = np.hstack([np.diff(first, axis=0, prepend=0), faces[:, 1:] - first])
    return pack(told, differences=False)


def near_order(points: Array) -> IntArray:
    """Return an order, (n,), of (n, 3) points in which neighbours in space are near each other (Morton order)."""
    if not len(points):
        return np.zeros(0, np.int64)
    low = points.min(axis=0)
    side = max(float(np.ptp(points, axis=0).max()), 1e-9)
    cell = np.minimum((points - low) / side * CELLS, CELLS - 1).astype(np.uint64)
    key: NDArray[np.uint64] = _spread(cell[:, 0]) | _spread(cell[:, 1]) << np.uint64(1)
    key |= _spread(cell[:, 2]) << np.uint64(2)
    return np.argsort(key, kind="stable").astype(np.int64)


def _spread(bits: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Put two empty bits between the lowest ten bits of each number."""
    for shift, mask in ((16, 0x030000FF), (8, 0x0300F00F), (4, 0x030C30C3), (2, 0x09249249)):
        bits = (bits | (bits << np.uint64(shift))) & np.uint64(mask)
    return bits
