"""Cut a box of moves into cells that are free, not free, or undecided at the resolution."""

from __future__ import annotations

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

Open = list[tuple[int, Left]]
"""Demands not yet known to be kept over a cell, by index, each with what is left to know."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Study:
    """What to decide: moves, and what each of them must keep. `most` distances are asked in a task at most."""

    space: MoveSpace
    demands: tuple[Demand | LinkDemand, ...]
    most: int


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


class Decider:
    """A study made ready: one evaluator for each demand."""

    def __init__(self, study: Study) -> None:
        self.study, self.space = study, study.space
        self.evaluators = [_evaluator(demand, study.space) for demand in study.demands]
        middle = (self.space.low + self.space.high) / 2
        self._asked = [i for i, e in enumerate(self.evaluators) if not e.always_clear or e.contained(middle)]

    @property
    def evaluations(self) -> int:
        """Distances asked so far."""
        return sum(e.evaluations for e in self.evaluators)

    def everything(self) -> Open:
        """Return all demands with all their angles, but for those that nothing in the whole space comes near."""
        return [(i, self.evaluators[i].everything()) for i in self._asked]

    def rule(self, centre: Array, half: Array, open_: Open) -> tuple[Ruling, Open, int]:
        """Rule on a cell of moves: what is left open, the least sure demand first, and who blocks or is in doubt."""
        left: list[tuple[float, int, Left]] = []
        for index, known in open_:
            ruling, own, least = self.evaluators[index].rule(centre, half, known, lost=bool(left))
            if ruling is Ruling.BLOCKED:
                return Ruling.BLOCKED, [], index
            if ruling is Ruling.UNDECIDED:
                left.append((least - self.study.demands[index].need_mm, index, own))
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

    def decide(self, low: IntArray, high: IntArray) -> Cells:
        """Cover a box of the grid, (6,) lines, by cells; cut the side that may lower a clearance most."""
        started, most = self.evaluations, self.study.most
        todo: list[tuple[IntArray, IntArray, Open]] = [(low, high, self.everything())]
        found: list[tuple[IntArray, IntArray, Ruling, int]] = []
        arm = max((self.evaluators[i].arm_mm for i in self._asked), default=1.0)
        while todo:
            a, b, open_ = todo.pop()
            if self.evaluations - started > most:
                found.append((a, b, Ruling.UNDECIDED, open_[0][0]))
                continue
            first, last = self.space.edge(a), self.space.edge(b)
            ruling, left, who = self.rule((first + last) / 2, (last - first) / 2, open_)
            if ruling is not Ruling.UNDECIDED or (b - a).max() == 1:
                found.append((a, b, ruling, who))
                continue
            cost = (last - first) * np.repeat([1.0, arm], 3) * (b - a > 1)
            axis = int(cost.argmax()) if cost.any() else int((b - a).argmax())
            middle = (a[axis] + b[axis]) // 2
            for i in range(2):
                ca, cb = a.copy(), b.copy()
                (cb if i == 0 else ca)[axis] = middle
                todo.append((ca, cb, left))
        return Cells(
            low=np.array([c[0] for c in found], dtype=np.int64),
            high=np.array([c[1] for c in found], dtype=np.int64),
            ruling=np.array([c[2] for c in found], dtype=np.int8),
            blocker=np.array([c[3] for c in found], dtype=np.int16),
            evaluations=self.evaluations - started,
        )


def _evaluator(demand: Demand | LinkDemand, space: MoveSpace) -> Evaluator | LinkEvaluator:
    return LinkEvaluator(demand, space) if isinstance(demand, LinkDemand) else Evaluator(demand, space)


def tasks(space: MoveSpace, count: int) -> list[tuple[IntArray, IntArray]]:
    """Cut the whole grid into about `count` boxes, its longest side (turns by their weight) first."""
    boxes = [(np.zeros(6, dtype=np.int64), space.counts.copy())]
    while len(boxes) < count:
        made = []
        for low, high in boxes:
            length = (space.edge(high) - space.edge(low)) * space.weights * (high - low > 1)
            if not length.any():
                made.append((low, high))
                continue
            axis = int(length.argmax())
            middle = (low[axis] + high[axis]) // 2
            for i in range(2):
                a, b = low.copy(), high.copy()
                (b if i == 0 else a)[axis] = middle
                made.append((a, b))
        if len(made) == len(boxes):
            break
        boxes = made
    return boxes
