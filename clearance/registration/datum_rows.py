"""What pairs of datums hold: residuals and their derivatives by the pose and by the bay's datums."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag

from clearance.frames import Array, Pose, rigid, unit_vector
from clearance.registration.datum_part import PartDatum
from clearance.registration.datum_result import FittedDatum, across

PARALLEL = 0.9
"""Cosine beyond which a direction adds too little to another to fix a turn about it."""


@dataclass(frozen=True, eq=False)
class Seat:
    """A datum of the part and the bay's datum it is seated on."""

    part: PartDatum
    bay: FittedDatum

    @property
    def name(self) -> str:
        """Both names, for the report."""
        return f"'{self.part.name}' on '{self.bay.name}'"


@dataclass(frozen=True, eq=False)
class SeatFit:
    """Residuals of all pairs at a pose.

    Attributes
    ----------
    rows : (m, 6) float64
        d(residual) / d(turn about the centre, shift), bay frame.
    residuals : (m,) float64
        mm; rad where `is_turn`.
    covariance : (m, m) float64
        Of the residuals, from the covariances of the bay's datums; a datum in several residuals ties them.
    is_turn : (m,) bool
    seat : (m,) int
        Number of the pair.
    """

    rows: Array
    residuals: Array
    covariance: Array
    is_turn: Array
    seat: Array

    def apart_mm(self, seats: list[Seat]) -> list[float]:
        """Return how far each pair is apart: faces at the rim of the part's, holes at the centre, edges at an end."""
        apart = []
        for number, seat in enumerate(seats):
            own = np.abs(self.residuals[self.seat == number])
            if seat.part.kind == "face":
                apart.append(float(own[0] + seat.part.arm * np.hypot(own[1], own[2])))
            else:
                apart.append(float(np.linalg.norm(own) if seat.part.is_axis else own.max()))
        return apart


@dataclass(frozen=True, eq=False)
class _Rows:
    """Rows of one pair: d/d(pose) (n, 6), d/d(place, direction) of its bay datum and of the bay's face (n, 6)."""

    residuals: Array
    by_pose: Array
    by_own: Array
    by_face: Array
    turns: tuple[bool, ...]


def linearised(pose: Pose, seats: list[Seat], centre: Array) -> SeatFit:
    """Return the residuals of all pairs at `pose` with turns about `centre` (3,), mm, bay frame."""
    blocks = [_rows(pose, seats, number, centre) for number in range(len(seats))]
    by_bay = np.zeros((sum(len(b.residuals) for b in blocks), 6 * len(seats)))
    at = 0
    for number, (seat, block) in enumerate(zip(seats, blocks, strict=True)):
        here = slice(at, at + len(block.residuals))
        by_bay[here, 6 * number : 6 * number + 6] += block.by_own
        if seat.part.kind == "edge":
            face = _face_of(seats, seat)
            by_bay[here, 6 * face : 6 * face + 6] += block.by_face
        at = here.stop
    return SeatFit(
        rows=np.vstack([b.by_pose for b in blocks]),
        residuals=np.concatenate([b.residuals for b in blocks]),
        covariance=by_bay @ block_diag(*(seat.bay.covariance for seat in seats)) @ by_bay.T,
        is_turn=np.concatenate([b.turns for b in blocks]),
        seat=np.repeat(np.arange(len(seats)), [len(b.residuals) for b in blocks]),
    )


def _face_of(seats: list[Seat], edge: Seat) -> int:
    """Return the number of the first face that an edge lies along best."""
    faces = [number for number, seat in enumerate(seats) if seat.part.kind == "face"]
    return min(faces, key=lambda number: round(abs(float(seats[number].part.direction @ edge.part.direction)), 2))


def _rows(pose: Pose, seats: list[Seat], number: int, centre: Array) -> _Rows:
    seat = seats[number]
    placed = pose.apply(seat.part.points)
    if seat.part.kind == "face":
        return _face_rows(placed[0], pose.rotation @ seat.part.direction, seat.bay, centre)
    if seat.part.is_axis:
        return _axis_rows(placed[0], seat.bay, centre)
    return _edge_rows(placed, seat.bay, seats[_face_of(seats, seat)].bay.direction, centre)


def _face_rows(point: Array, normal: Array, bay: FittedDatum, centre: Array) -> _Rows:
    """Height n . (x - c) of the part's point above the bay's face, and the two tilts of -R n_part against n."""
    side, zero = across(bay.direction), np.zeros((2, 3))
    height = np.concatenate([np.cross(point - centre, bay.direction), bay.direction])
    return _Rows(
        residuals=np.concatenate([[(point - bay.place) @ bay.direction], side @ (normal + bay.direction)]),
        by_pose=np.vstack([height, np.hstack([np.cross(normal, side), zero])]),
        by_own=np.vstack([np.concatenate([-bay.direction, point - bay.place]), np.hstack([zero, side])]),
        by_face=np.zeros((3, 6)),
        turns=(False, True, True),
    )


def _axis_rows(point: Array, bay: FittedDatum, centre: Array) -> _Rows:
    """Offsets e . (x - c) of the part's centre from the bay's axis, e at right angles to it."""
    side = across(bay.direction)
    along = float((point - bay.place) @ bay.direction)
    return _Rows(
        residuals=side @ (point - bay.place),
        by_pose=np.hstack([np.cross(point - centre, side), side]),
        by_own=np.hstack([-side, -along * side]),
        by_face=np.zeros((2, 6)),
        turns=(False, False),
    )


def _edge_rows(ends: Array, bay: FittedDatum, normal: Array, centre: Array) -> _Rows:
    """Offsets u . (x - c) of the part's two ends from the bay's edge, u = d x n / |d x n| along the bay's face."""
    away = ends - bay.place
    way = np.cross(bay.direction, normal)
    length = float(np.linalg.norm(way))
    unit, zero = way / length, np.zeros((2, 3))
    return _Rows(
        residuals=away @ unit,
        by_pose=np.hstack([np.cross(ends - centre, unit), np.tile(unit, (2, 1))]),
        by_own=np.hstack([-np.tile(unit, (2, 1)), np.cross(normal, away) / length]),
        by_face=np.hstack([zero, np.cross(away, bay.direction) / length]),
        turns=(False, False),
    )


def start_pose(seats: list[Seat]) -> Pose:
    """Return a pose to start from: the first face looks at the bay's, one more direction agrees, places are near.

    That direction is a second face's normal, else the line between two holes or studs, else an edge; else any.
    """
    first = next(seat for seat in seats if seat.part.kind == "face")
    part, bay = _second_direction(seats, first)
    turn = _triad(-first.bay.direction, bay) @ _triad(first.part.direction, part).T
    fit = linearised(rigid("bay", "part", turn, np.zeros(3)), seats, np.zeros(3))
    shift = -np.linalg.lstsq(fit.rows[:, 3:], fit.residuals, rcond=None)[0]
    return rigid("bay", "part", turn, shift)


def _second_direction(seats: list[Seat], first: Seat) -> tuple[Array, Array]:
    """Return a direction on the part and its match in the bay, neither along the first face's normal."""
    found = [(seat.part.direction, -seat.bay.direction) for seat in seats if seat.part.kind == "face"]
    axes = [seat for seat in seats if seat.part.is_axis]
    apart = [
        (b.part.points[0] - a.part.points[0], b.bay.place - a.bay.place) for i, b in enumerate(axes) for a in axes[:i]
    ]
    found += sorted(apart, key=lambda pair: -float(np.linalg.norm(pair[0])))
    found += [(seat.part.direction, seat.bay.direction) for seat in seats if seat.part.kind == "edge"]
    for part, bay in found:
        lengths = np.linalg.norm(part), np.linalg.norm(bay)
        if min(lengths) < 1e-6:
            continue
        along = abs(part @ first.part.direction) / lengths[0], abs(bay @ first.bay.direction) / lengths[1]
        if max(along) < PARALLEL:
            return part, bay
    return across(first.part.direction)[0], across(first.bay.direction)[0]


def _triad(normal: Array, other: Array) -> Array:
    """Return the (3, 3) rotation with columns along `other` (made square to `normal`), their cross, and `normal`."""
    along = unit_vector(other - (other @ normal) * normal)
    return np.column_stack([along, np.cross(normal, along), normal])
