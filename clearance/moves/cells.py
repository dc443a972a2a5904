"""Cut a box of moves into cells that are free, not free, or undecided at the resolution."""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.moves.demand import Demand
from clearance.moves.evaluator import Evaluator
from clearance.moves.link_evaluator import LinkDemand, LinkEvaluator
from clearance.moves.search import Left, Ruling
from clearance.moves.space import IntArray, MoveSpace

MOST_OPEN = 2000
"""Cells open at once in a box of work; beyond that one is followed to its end before the next."""

Open = list[tuple[int, Left]]
"""Demands not yet known to be kept over a cell, by index, each with what is left to know."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Study:
    """What to decide: moves, and what each of them must keep. `most` distances are asked in a task at most."""

    space: MoveSpace
    demands: tuple[Demand | LinkDemand, ...]
    most: int


@dataclass(frozen=True, eq=False)
class Box:
    """A box of the grid, (6,) lines each, that is not decided, and what is left to know of it."""

    low: IntArray
    high: IntArray
    left: Open


@dataclass(frozen=True, eq=False, kw_only=True)
class Cells:
    """Cells that cover a box of moves.

    Attributes
    ----------
    low, high : (n, 6) int64
        Grid lines of the move space.
    ruling : (n,) int8
        `Ruling` of each.
    blocker : (n,) int16
        Index of the demand that a blocked cell fails, or an undecided one is in doubt of; -1 for a free one.
    evaluations : int
        Distances asked.
    """

    low: IntArray
    high: IntArray
    ruling: NDArray[np.int8]
    blocker: NDArray[np.int16]
    evaluations: int

    @property
    def poses(self) -> IntArray:
        """(n,) cells of the finest grid in each."""
        found: IntArray = np.prod(self.high - self.low, axis=1)
        return found


def joined(parts: Sequence[Cells]) -> Cells:
    """Put cells of several boxes together."""
    return Cells(
        low=np.concatenate([p.low for p in parts]),
        high=np.concatenate([p.high for p in parts]),
        ruling=np.concatenate([p.ruling for p in parts]),
        blocker=np.concatenate([p.blocker for p in parts]),
        evaluations=sum(p.evaluations for p in parts),
    )


_Cell = tuple[IntArray, IntArray, Ruling, int]


class Decider:
    """A study made ready: one evaluator for each demand."""

    def __init__(self, study: Study) -> None:
        self.study, self.space = study, study.space
        self.evaluators = [_evaluator(demand, study.space) for demand in study.demands]
        middle = (self.space.low + self.space.high) / 2
        self._asked = [i for i, e in enumerate(self.evaluators) if not e.always_clear or e.contained(middle)]

        self._arm = max((self.evaluators[i].arm_mm for i in self._asked), default=1.0)

    @property
    def evaluations(self) -> int:
        """Distances asked so far."""
        return sum(e.evaluations for e in self.evaluators)

    def everything(self) -> Open:
        """Return all demands with all their angles, but for those that nothing in the whole space comes near."""
        return [(i, self.evaluators[i].everything()) for i in self._asked]

    def rule(self, centre: Array, half: Array, open_: Open) -> tuple[Ruling, Open, int]:
        """Rule on a cell of moves: what is left open, the least sure demand first, and who blocks or is in doubt.

        Where one demand is in doubt the others are asked only if they may block the cell.
        """
        left: list[tuple[float, int, Left]] = []
        for index, known in open_:
            need = self.study.demands[index].need_mm
            if left and known.least_mm - self.evaluators[index].drift_mm(known, centre) >= need:
                left.append((known.least_mm - need, index, known))
                continue
            ruling, own = self.evaluators[index].rule(centre, half, known, lost=bool(left))
            if ruling is Ruling.BLOCKED:
                return Ruling.BLOCKED, [], index
            if ruling is Ruling.UNDECIDED:
                left.append((own.least_mm - need, index, own))
        if not left:
            return Ruling.FREE, [], -1
        left.sort(key=lambda one: one[0])
        return Ruling.UNDECIDED, [(index, own) for _, index, own in left], left[0][1]

    def keeps(self, move: Array) -> bool:
        """Tell whether a single move (6,) is proven to keep every demand."""
        return self.rule(move, np.zeros(6), self.everything())[0] is Ruling.FREE

    def fails(self, move: Array) -> bool:
        """Tell whether a single move (6,) is proven not to keep every demand."""
        return self.rule(move, np.zeros(6), self.everything())[0] is Ruling.BLOCKED

    def whole(self) -> Box:
        """Return the whole grid."""
        return Box(np.zeros(6, dtype=np.int64), self.space.counts.copy(), self.everything())

    def opened(self, count: int) -> tuple[Cells, list[Box]]:
        """Cut the whole grid, largest cell first, until about `count` cells are open: what is decided, and those.

        The same study is always cut the same way.
        """
        started, number = self.evaluations, 0
        todo, found = [(0.0, 0, self.whole())], list[_Cell]()
        while todo and len(todo) < count:
            for made in self._looked_at(heapq.heappop(todo)[2], found):
                number += 1
                heapq.heappush(todo, (-self._size(made), number, made))
        return _cells(found, self.evaluations - started), [box for _, _, box in sorted(todo, key=lambda one: one[:2])]

    def decide(self, box: Box) -> Cells:
        """Cover a box of the grid by cells, the largest first while no more than `MOST_OPEN` are open.

        After `study.most` distances what is still open is undecided.
        """
        started, number, found = self.evaluations, 0, list[_Cell]()
        todo = [(0.0, 0, box)]
        while todo:
            if self.evaluations - started > self.study.most:
                found += [(b.low, b.high, Ruling.UNDECIDED, b.left[0][0]) for _, _, b in todo]
                break
            for made in self._looked_at(heapq.heappop(todo)[2], found):
                number += 1
                size = self._size(made)
                heapq.heappush(todo, (-size if len(todo) < MOST_OPEN else -np.inf, -number, made))
        return _cells(found, self.evaluations - started)

    def _looked_at(self, box: Box, found: list[_Cell]) -> list[Box]:
        """Rule on a box: add it to what is found, or return its halves, cut where that may lower a clearance most."""
        first, last = self.space.edge(box.low), self.space.edge(box.high)
        ruling, left, who = self.rule((first + last) / 2, (last - first) / 2, box.left)
        lines = box.high - box.low
        if ruling is not Ruling.UNDECIDED or lines.max() == 1:
            found.append((box.low, box.high, ruling, who))
            return []
        axis = int(np.where(lines > 1, self._weighted(box), -1.0).argmax())
        low, high = box.low.copy(), box.high.copy()
        low[axis] = high[axis] = (box.low[axis] + box.high[axis]) // 2
        return [Box(box.low, high, left), Box(low, box.high, left)]

    def _weighted(self, box: Box) -> Array:
        """Sides of a box, (6,) mm: of turns how far they carry what is farthest out."""
        sides: Array = (self.space.edge(box.high) - self.space.edge(box.low)) * np.repeat([1.0, self._arm], 3)
        return sides

    def _size(self, box: Box) -> float:
        return float(np.linalg.norm(self._weighted(box)))


def _cells(found: Sequence[_Cell], evaluations: int) -> Cells:
    return Cells(
        low=np.array([c[0] for c in found], dtype=np.int64).reshape(-1, 6),
        high=np.array([c[1] for c in found], dtype=np.int64).reshape(-1, 6),
        ruling=np.array([c[2] for c in found], dtype=np.int8),
        blocker=np.array([c[3] for c in found], dtype=np.int16),
        evaluations=evaluations,
    )


def _evaluator(demand: Demand | LinkDemand, space: MoveSpace) -> Evaluator | LinkEvaluator:
    return LinkEvaluator(demand, space) if isinstance(demand, LinkDemand) else Evaluator(demand, space)
