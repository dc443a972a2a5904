"""Triangles of zero area taken out of a mesh without opening it. Moves no vertex and adds none.

CAD writes slivers A, B, C with B on the segment AC where two faces share an edge that only one of
them cuts at B. Without the sliver the edges AB and BC are open. So the neighbour C, A, D across AC
is cut at B into A, B, D and B, C, D, as wound as it was; a neighbour that is flat itself is cut the
same way and its halves are gone on with, longest first. A triangle with two equal corners is only
left out: its two sides cancel.

The surface stays what it was to rounding. The cross product of two sides of what is taken out is
zero in float64, so its true size is at most (2 + sqrt(2)) 2^-53 times the product of their lengths
(one rounding of each side, one of each product), and B lies within 4e-16 of AC's length of AC:
8e-12 mm at 20 m. What is larger is no sliver here and is kept.

Where corners lie within rounding of each other or the surface is folded onto itself, a cut may make
a side that is there already: an edge of four triangles, and the mesh is then told as not closed.
"""

from __future__ import annotations

import heapq
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.mesh import IntArray, Mesh

MOST = 100_000
"""Slivers in a mesh beyond which all are left out and nothing is cut: half a minute's work."""

CUTS_EACH = 100
"""Cuts per sliver after which the rest is left out; thousands on one edge take under three each."""

MOST_LINES = 1000
"""Lines that are looked for on the surface; those beyond are told as gone."""

ON_LINE = 1e-14
"""Distance, in units of the mesh's extent, at which a side lies on a line: only for what is told."""

Corners = tuple[int, int, int]


@dataclass(frozen=True, eq=False, kw_only=True)
class TakenOut:
    """A mesh without triangles of zero area.

    Attributes
    ----------
    mesh : Mesh
        All vertices of the mesh that was given.
    flat : int
        Triangles of zero area that it had.
    bare : int
        Lines and points that went with them, for no side of the triangles left covers them.
    """

    mesh: Mesh
    flat: int
    bare: int


def take_out_flat(mesh: Mesh) -> TakenOut:
    """Take the triangles of zero area out of a mesh whose equal vertices have been made one."""
    flat = ~(_doubled_area(mesh.vertices, mesh.faces) > 0)
    if not flat.any():
        return TakenOut(mesh=mesh, flat=0, bare=0)
    a, b, c = mesh.faces.T
    folded = (a == b) | (b == c) | (c == a)
    sliver = flat & ~folded
    bare = _uncovered(mesh.faces[folded], mesh.faces[~folded])
    faces = mesh.faces[~folded]
    if sliver.any():
        faces, more = _cut(mesh.vertices, faces, sliver[~folded])
        bare += more
    return TakenOut(mesh=Mesh(mesh.vertices, faces), flat=int(flat.sum()), bare=bare)


def _doubled_area(vertices: Array, faces: IntArray) -> Array:
    """Return twice each triangle's area; scaled so that tiny units do not underflow."""
    corners = _scaled(vertices)[faces]
    doubled: Array = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    return doubled


def _scaled(vertices: Array) -> Array:
    """Return the vertices in units of about the mesh's largest extent: a power of two, so that no digit changes."""
    _, exponent = math.frexp(max(float(np.ptp(vertices, axis=0).max()), 1e-300))
    return np.ldexp(vertices, -exponent)


def _uncovered(folded: IntArray, faces: IntArray) -> int:
    """Return how many triangles with two equal corners lie on no side or corner of the others."""
    if not len(folded):
        return 0
    names = int(max(folded.max(), faces.max(initial=0))) + 1
    near = np.zeros(names, dtype=bool)
    near[folded] = True
    faces = faces[near[faces].any(axis=1)]
    start, end = faces.ravel(), faces[:, [1, 2, 0]].ravel()
    sides = np.minimum(start, end) * names + np.maximum(start, end)
    low, high = folded.min(axis=1), folded.max(axis=1)
    known = np.isin(low * names + high, np.concatenate([sides, start * (names + 1)]))
    return int((~known).sum())


def _cut(vertices: Array, faces: IntArray, sliver: NDArray[np.bool_]) -> tuple[IntArray, int]:
    """Take slivers out, neighbours cut. Returns the faces left and how many lines went."""
    count = int(sliver.sum())
    near = np.zeros(len(vertices), dtype=bool)
    near[faces[sliver]] = True
    local = near[faces].any(axis=1)
    patch = _Patch(_scaled(vertices), faces[local], sliver[local])
    patch.empty(CUTS_EACH * count if count <= MOST else 0)
    first_new = int(local.sum())
    stay = np.logical_not(local)
    stay[np.flatnonzero(local)[[number for number in patch.corners if number < first_new]]] = True
    new = [corners for number, corners in patch.corners.items() if number >= first_new]
    kept = np.concatenate([faces[stay], np.array(new, dtype=np.int64).reshape(-1, 3)])
    return kept[_doubled_area(vertices, kept) > 0], patch.bare()


class _Patch:
    """The triangles about slivers, each by a number that is never used again, and who uses which edge."""

    def __init__(self, points: Array, faces: IntArray, sliver: NDArray[np.bool_]) -> None:
        """Take up the triangles; `sliver` tells the flat ones."""
        used = np.unique(faces)
        self.points: dict[int, list[float]] = dict(zip(used.tolist(), points[used].tolist(), strict=True))
        self.corners: dict[int, Corners] = {}
        self.users: dict[tuple[int, int], list[int]] = {}
        self.flat: list[tuple[float, int]] = []
        self.between: dict[tuple[int, int], set[int]] = {}
        self.next = 0
        for corners, is_flat in zip(faces.tolist(), sliver.tolist(), strict=True):
            self._add(tuple(corners), is_flat)

    def empty(self, cuts: int) -> None:
        """Take the slivers out, longest first, with at most so many cuts."""
        while self.flat:
            number = heapq.heappop(self.flat)[1]
            if number not in self.corners:
                continue
            a, b, c = self._turned(self._remove(number))
            other = self._neighbour(a, c)
            self.between.setdefault(_edge(a, c), set()).add(b)
            if other is not None and cuts > 0:
                cuts -= 1
                self._cut_at(b, a, c, other)

    def bare(self) -> int:
        """Return how many long sides of slivers no sides of what is left cover, whole or in parts."""
        covered: dict[tuple[int, int], bool] = {}
        for edge in sorted(self.between, key=lambda e: self._length(*e)):
            a, c = edge
            covered[edge] = bool(self.users[edge]) or any(
                all(covered.get(part, bool(self.users.get(part))) for part in (_edge(a, b), _edge(b, c)))
                for b in self.between[edge]
            )
        lost = [edge for edge, is_covered in covered.items() if not is_covered]
        if not lost:
            return 0
        sides = np.array([[self.points[v] for v in edge] for edge, users in self.users.items() if users])
        return len(lost) - sum(
            _covers(sides.reshape(-1, 2, 3), np.array([self.points[v] for v in edge])) for edge in lost[:MOST_LINES]
        )

    def _cut_at(self, b: int, a: int, c: int, number: int) -> None:
        """Cut a triangle with the side a, c (either way) at b."""
        p, q, d = self._remove(number)
        while {p, q} != {a, c}:
            p, q, d = q, d, p
        if b != d:
            for child in ((p, b, d), (b, q, d)):
                self._add(child, self._is_flat(child))

    def _add(self, corners: Corners, is_flat: bool) -> None:
        number, self.next = self.next, self.next + 1
        self.corners[number] = corners
        for edge in _edges(corners):
            self.users.setdefault(edge, []).append(number)
        if is_flat:
            a, _, c = self._turned(corners)
            heapq.heappush(self.flat, (-self._length(a, c), number))

    def _remove(self, number: int) -> Corners:
        corners = self.corners.pop(number)
        for edge in _edges(corners):
            self.users[edge].remove(number)
        return corners

    def _neighbour(self, a: int, c: int) -> int | None:
        """Return a user of the edge of a sliver that ran from c to a; one that runs from a to c if there is one."""
        users = self.users[_edge(a, c)]
        for number in users:
            p, q, r = self.corners[number]
            if (a, c) in ((p, q), (q, r), (r, p)):
                return number
        return users[0] if users else None

    def _turned(self, corners: Corners) -> Corners:
        """Turn the corners so that the longest side runs from the last to the first."""
        a, b, c = corners
        return max(((a, b, c), (b, c, a), (c, a, b)), key=lambda turn: self._length(turn[0], turn[2]))

    def _length(self, a: int, b: int) -> float:
        return math.dist(self.points[a], self.points[b])

    def _is_flat(self, corners: Corners) -> bool:
        """Whether the area is zero by the same arithmetic as `_doubled_area`."""
        a, b, c = (self.points[k] for k in corners)
        u, v, w = b[0] - a[0], b[1] - a[1], b[2] - a[2]
        x, y, z = c[0] - a[0], c[1] - a[1], c[2] - a[2]
        i, j, k = v * z - w * y, w * x - u * z, u * y - v * x
        return not i * i + j * j + k * k > 0.0


def _covers(sides: Array, line: Array) -> bool:
    """Whether (n, 2, 3) sides that lie on a (2, 3) line leave no gap in it."""
    length = math.dist(*line)
    along = (line[1] - line[0]) / max(length, 1e-300)
    ends = sides - line[0]
    on = (np.linalg.norm(np.cross(ends, along), axis=2) <= ON_LINE).all(axis=1)
    reached = 0.0
    for start, end in sorted(np.sort(ends[on] @ along, axis=1).tolist()):
        if start > reached + ON_LINE:
            break
        reached = max(reached, end)
    return bool(on.any()) and reached >= length - ON_LINE


def _edge(a: int, b: int) -> tuple[int, int]:
    return (a, b) if a < b else (b, a)


def _edges(corners: Corners) -> tuple[tuple[int, int], ...]:
    a, b, c = corners
    return _edge(a, b), _edge(b, c), _edge(c, a)
