"""Take up a scan block by block: all of a small one; of a large one all that matters and one point a cube elsewhere.

What is left out never makes anything look clearer than it is. A point near the part is never left out. A cube
that held points keeps one, so no zone becomes empty and no measured surface vanishes. A line of sight is
taken as free up to the nearest point in a pixel of it: cubes are at most a quarter of a pixel wide between station
and part, so that a surface which fills a pixel keeps a point in it, and what shrinks is its outline, by less than
half a pixel.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.keep import DENSE, HALO, LEVELS, Keep
from clearance.scene.primitives import inside_of

WHOLE = 1_500_000
"""Scans of so many points are kept whole."""

BITS = 21
"""Bits of a cube's number along each axis: cubes of a quarter mm repeat after half a kilometre."""

IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Sifted:
    """What was kept.

    Attributes
    ----------
    points : (n, 3) float64, mm
    file_of : (n,) int64
        Number of the file each came from.
    thinned : (n,) bool or None
        Points that speak for a cube; None where the whole scan was kept.
    halo : (m, 3) float64, mm
        Neighbours of the points that do not.
    """

    points: Array
    file_of: IntArray
    thinned: NDArray[np.bool_] | None
    halo: Array


class Sieve:
    """Takes blocks of points in order; the same blocks always leave the same points."""

    def __init__(self, keep: Keep | None, whole: int | None = None) -> None:
        self._keep = keep
        self._whole = WHOLE if whole is None else whole
        self._count = 0
        self._waiting: list[tuple[Array, int]] = []
        self._dense: list[tuple[Array, int]] = []
        self._halo: list[Array] = []
        self._spoken: list[tuple[Array, int]] = []
        self._known: dict[tuple[int, int], IntArray] = {}

    def add(self, points: Array, file: int) -> None:
        """Take a block of (n, 3) points, mm, of a file."""
        self._count += len(points)
        self._waiting.append((points, file))
        if self._keep is not None and self._count > self._whole:
            for block, number in self._waiting:
                self._sift(self._keep, block, number)
            self._waiting = []

    def sifted(self) -> Sifted:
        """Return what was kept of all blocks."""
        if self._keep is None or self._count <= self._whole:
            points, file_of = _joined(self._waiting)
            return Sifted(points, file_of, None, np.zeros((0, 3)))
        points, file_of = _joined(self._dense + self._spoken)
        thinned = np.ones(len(points), dtype=bool)
        thinned[: sum(len(block) for block, _ in self._dense)] = False
        return Sifted(points, file_of, thinned, np.concatenate([np.zeros((0, 3)), *self._halo]))

    def _sift(self, keep: Keep, points: Array, file: int) -> None:
        near = keep.of(points)
        if (near == DENSE).any():
            self._dense.append((points[near == DENSE], file))
        if (near == HALO).any():
            self._halo.append(points[near == HALO])
        rest = points[near != DENSE]
        if len(rest):
            new = self._first_of_cubes(keep, rest, file)
            self._spoken.append((rest[new], file))

    def _first_of_cubes(self, keep: Keep, points: Array, file: int) -> IntArray:
        """Return the rows of (n, 3) points that are the first in their cube, of their nets and file."""
        kinds = keep.cube_power(points).astype(np.int64) - LEVELS[0]
        for net in keep.nets:
            kinds = 2 * kinds + inside_of(net, points)
        found = []
        for kind in np.unique(kinds).tolist():
            rows = np.flatnonzero(kinds == kind)
            level = (kind >> len(keep.nets)) + LEVELS[0]
            keys, first = _first_of_each(np.floor(points[rows] * 2.0**-level).astype(np.int64))
            name = (kind, file)
            known = self._known.get(name, np.zeros(0, np.int64))
            new = ~_holds(known, keys)
            self._known[name] = np.sort(np.concatenate([known, keys[new]]), kind="stable")
            found.append(rows[first[new]])
        return np.sort(np.concatenate(found))


def _first_of_each(cube: IntArray) -> tuple[IntArray, IntArray]:
    """Return the keys of the cubes (n, 3) that occur, ascending, and the first row of each."""
    local = cube - cube.min(axis=0)
    bits = [int(n).bit_length() for n in local.max(axis=0)]
    rows = len(cube).bit_length()
    if sum(bits) + rows < 63:  # One sort of plain numbers: several times faster than a sort that tells its order.
        key = (local[:, 0] << (bits[1] + bits[2])) | (local[:, 1] << bits[2]) | local[:, 2]
        packed = np.sort((key << rows) | np.arange(len(cube)))
        key = packed >> rows
        first = packed[np.concatenate([[True], key[1:] != key[:-1]])] & ((1 << rows) - 1)
        keys = _key(cube[first])
        order = np.argsort(keys, kind="stable")
        return keys[order], first[order]
    keys, first = np.unique(_key(cube), return_index=True)
    return keys, first.astype(np.int64)


def _key(cube: IntArray) -> IntArray:
    x, y, z = (cube & ((1 << BITS) - 1)).T
    found: IntArray = (x << 2 * BITS) | (y << BITS) | z
    return found


def _holds(known: IntArray, keys: IntArray) -> NDArray[np.bool_]:
    if not len(known):
        return np.zeros(len(keys), dtype=bool)
    place = np.minimum(np.searchsorted(known, keys), len(known) - 1)
    return np.asarray(known[place] == keys)


def _joined(blocks: list[tuple[Array, int]]) -> tuple[Array, IntArray]:
    points = np.concatenate([np.zeros((0, 3)), *(block for block, _ in blocks)])
    return points, np.repeat([number for _, number in blocks], [len(block) for block, _ in blocks]).astype(np.int64)
