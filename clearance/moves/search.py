"""The search over the angles of a motion in one cell of moves: clear, blocked, or what is left to know.

What a parent cell learnt goes on to its children: boxes that are clear over the parent are never looked at again,
and of the others it is known how near the bodies may come there, so that the nearest is asked first and most are
not asked at all.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from clearance.frames import Array

SHARE = 0.5
"""Angles are cut until they may lower the clearance by no more than this share of what the move may."""

FINEST_MM = 0.002
"""At a single move angles are cut until they may lower the clearance by no more than this."""


MOST_LOST = 3
"""Distances asked to see whether a cell that is not free is blocked: where none tells, smaller cells will."""


class Ruling(IntEnum):
    """What is known of a cell of moves."""

    UNDECIDED = 0
    FREE = 1
    BLOCKED = 2


@dataclass(frozen=True, eq=False)
class Left:
    """Boxes of angles that are not known to be clear over a cell of moves.

    Attributes
    ----------
    boxes : (k, 2 a) float64
        Low ends, then high ends, rad.
    floors : (k,) float64
        The clearance over each box is no less than this at the move `at`, mm.
    at : (6,) float64
    least_mm : float
        Smallest distance met there; minus infinity where none was asked.
    """

    boxes: Array
    floors: Array
    at: Array
    least_mm: float = -np.inf


@dataclass(frozen=True, kw_only=True)
class Question:
    """What is asked of the angles at the middle of a cell.

    Attributes
    ----------
    need_mm : clearance to be kept
    fall_mm : how far the clearance may fall from the middle to any move of the cell, at most
    rise_mm : by how much two points may part within the cell, at least as seen for the worst two
    spare_mm : by how much a distance asked may exceed the clearance
    closest : of angles (a,): distance, mm, and by how much, mm, the two points found may part within the cell
    falls : of half widths (a,): how far the clearance may fall for each angle, (a,) mm
    """

    need_mm: float
    fall_mm: float
    rise_mm: float
    spare_mm: float
    closest: Callable[[Array], tuple[float, float]]
    falls: Callable[[Array], Array]


def search(asked: Question, left: Left, at: Array, drift_mm: float, *, lost: bool) -> tuple[Ruling, Left]:
    """Tell whether the need is kept over a cell, in all of `left`.

    Parameters
    ----------
    at : (6,) middle of the cell
    drift_mm : how far the clearance may have fallen from `left.at` to there
    lost : the cell is known not to be free: only whether it is blocked matters

    Returns
    -------
    ruling : FREE: no box comes within the need. BLOCKED: some two points are nearer than it at every move.
    left : boxes that are not known to be clear
    """
    need, fall = asked.need_mm, asked.fall_mm
    ordered = enumerate(zip((left.floors - drift_mm).tolist(), left.boxes, strict=True))
    heap: list[tuple[float, int, Array, tuple[float, float] | None]] = [(f, i, box, None) for i, (f, box) in ordered]
    heapq.heapify(heap)
    count, least, spent = len(heap), np.inf, 0
    boxes, floors = list[Array](), list[float]()
    while heap and heap[0][0] - fall < need:
        spent += lost
        if lost and (spent > MOST_LOST or heap[0][0] + asked.rise_mm >= need):  # No other is likely to block the cell.
            some = [(floor, box) for floor, _, box, _ in heap if floor - fall < need]
            floors += [floor for floor, _ in some]
            boxes += [box for _, box in some]
            break
        floor, _, box, found = heapq.heappop(heap)
        low, high = np.split(box, 2)
        distance, rise = found or asked.closest((low + high) / 2)
        least = min(least, distance)
        if distance + rise < need:
            return Ruling.BLOCKED, left
        falls = asked.falls((high - low) / 2)
        turned = float(falls.sum())
        floor = max(floor, distance - asked.spare_mm - turned)
        if floor - fall >= need:
            continue
        lost = lost or distance - asked.spare_mm - fall < need
        if turned <= max(SHARE * fall, FINEST_MM):
            lost = True
        elif not lost or floor + asked.rise_mm < need:
            for child, own in _cut(box, int(falls.argmax()), (distance, rise)):
                count += 1
                heapq.heappush(heap, (floor, count, child, own))
            continue
        boxes.append(box)
        floors.append(floor)
    if not boxes:
        return Ruling.FREE, Left(left.boxes[:0], left.floors[:0], at)
    return Ruling.UNDECIDED, Left(np.array(boxes), np.array(floors), at, min(least, min(floors)))


def _cut(box: Array, axis: int, found: tuple[float, float]) -> list[tuple[Array, tuple[float, float] | None]]:
    """Cut a box of angles in three; the middle one keeps what was found."""
    count = len(box) // 2
    third = (box[count + axis] - box[axis]) / 3
    cuts = (box[axis], box[axis] + third, box[count + axis] - third, box[count + axis])
    made: list[tuple[Array, tuple[float, float] | None]] = []
    for i in range(3):
        child = box.copy()
        child[axis], child[count + axis] = cuts[i], cuts[i + 1]
        made.append((child, found if i == 1 else None))
    return made
