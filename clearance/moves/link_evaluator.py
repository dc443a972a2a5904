"""A shaft on a link over a cell of moves of the engine, or of the part alone.

Seen from the engine the part and the inner joint stand still, and the move carries the outer joint the other
way: from one move to another by at most r. Where that joint is never nearer than l to the inner one, the shaft
turns by at most asin(r / l), its two coordinates by at most x / sin(x) times as much (`motion.shaft`), and no
point of it at a distance R from the inner joint goes farther than R times that. The clearance in the middle of
the cell comes from the certified sweep.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from clearance.bounds import Bound
from clearance.frames import Array, Pose, unit_vector
from clearance.motion.bodies import corners
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.rock import Rock
from clearance.motion.shaft import Shaft, moved_mm
from clearance.motion.sweep import sweep
from clearance.motion.zone_motion import Link, Travel, ZoneMotion
from clearance.moves.demand import Solid
from clearance.moves.displaced import least_turn
from clearance.moves.search import Left, Ruling
from clearance.moves.space import MoveSpace
from clearance.scene.mesh import Mesh

TOLERANCE_MM = 0.05
"""Width of the bound sought in the middle of a cell."""


@dataclass(frozen=True, eq=False, kw_only=True)
class LinkDemand:
    """A part on the engine, a shaft between engine and chassis, and the clearance it needs; bay frame, neutral pose.

    `moved`: the part alone, or the engine and with it part, inner joint and mounts, or nothing of the three.
    """

    zone: str
    part: Mesh
    closed: bool
    solid: Solid
    zone_closed: bool
    rock: Rock | None
    travel: Travel | None
    link: Link
    moved: Literal["part", "engine", "nothing"]
    need_mm: float


class LinkEvaluator:
    """A link's demand made ready; answers as `Evaluator` does."""

    always_clear = False

    def __init__(self, demand: LinkDemand, space: MoveSpace) -> None:
        self.demand, self._space, self.evaluations = demand, space, 0
        self._last: tuple[bytes, Bound, float, float] | None = None
        most = np.maximum(np.abs(space.low), np.abs(space.high))
        self._farthest = float(np.linalg.norm(most[:3]))
        self._part_arm = float(np.linalg.norm(corners(demand.part) - space.about, axis=1).max())
        self._shaft_arm = float(np.linalg.norm(corners(demand.solid) - demand.link.engine, axis=1).max())
        self.arm_mm = self._outer_arm() if demand.moved == "engine" else self._part_arm

    def everything(self) -> Left:
        """Return one box of no angles: they are searched by the sweep."""
        return Left(np.zeros((1, 0)), np.full(1, -np.inf), np.zeros(6))

    def contained(self, _move: Array) -> bool:
        """Tell nothing: the sweep asks itself."""
        return False

    def drift_mm(self, _left: Left, _centre: Array) -> float:
        """Return 0: a sweep costs so much that a demand not short at the parent's middle is not asked again."""
        return 0.0

    def rule(self, centre: Array, half: Array, left: Left, *, lost: bool = False) -> tuple[Ruling, Left]:
        """Tell whether the demand is kept in a cell of moves, as `Evaluator.rule`."""
        bound, away, angle = self._at(centre)
        fall = self.fall_mm(half, away, angle)
        if bound.upper + fall < self.demand.need_mm:
            return Ruling.BLOCKED, left
        if bound.lower - fall >= self.demand.need_mm:
            return Ruling.FREE, Left(left.boxes[:0], left.floors[:0], centre)
        return Ruling.UNDECIDED, Left(left.boxes, left.floors, centre, bound.upper)

    def fall_mm(self, half: Array, away: float, angle: float) -> float:
        """Return how far the clearance may fall, mm, within half widths (6,).

        `away`: least distance of the joints at the middle, mm; `angle`: largest angle, rad, of the shaft there.
        """
        shift, turn = float(np.linalg.norm(half[:3])), float(np.linalg.norm(half[3:]))
        if self.demand.moved == "nothing":
            return 0.0
        if self.demand.moved == "part":
            return shift + turn * self._part_arm
        carried = shift + turn * self._outer_arm()
        if carried == 0.0:
            return 0.0
        if carried >= away:
            return float("inf")
        spread = float(np.arcsin(carried / away))
        if angle + spread >= 3.0:
            return float("inf")
        return self._shaft_arm * spread / float(np.sinc((angle + spread) / np.pi))

    def _outer_arm(self) -> float:
        """Return how far the outer joint may lie from the centre of the moves, mm, with its swing and the shifts."""
        demand = self.demand
        swung = 0.0
        if demand.travel is not None:
            low, high = demand.travel.range_rad
            away = np.cross(demand.link.chassis - demand.travel.point, demand.travel.direction)
            swung = 2 * np.sin(min(max(-low, high), np.pi) / 2) * float(np.linalg.norm(away))
        return float(np.linalg.norm(demand.link.chassis - self._space.about)) + swung + self._farthest

    def _at(self, move: Array) -> tuple[Bound, float, float]:
        """Bound of the clearance at a move, least distance of the joints and largest angle of the shaft there."""
        key = move.tobytes()
        if self._last is None or self._last[0] != key:
            part, solid, motion = self._seen_from_engine(self._space.motion(move))
            found = sweep(part, self.demand.closed, solid, self.demand.zone_closed, motion, TOLERANCE_MM)
            self.evaluations += found.evaluations
            assert motion.shaft is not None
            self._last = (key, found.clearance, *_reach(motion.shaft))
        return self._last[1:]

    def _seen_from_engine(self, move: Pose) -> tuple[Mesh, Solid, PairMotion]:
        demand = self.demand
        part, solid, travel, link = demand.part, demand.solid, demand.travel, demand.link
        if demand.moved == "part":
            part = part.moved(move)
        if demand.moved == "engine":
            back = move.inverse()
            outer = back.apply(link.chassis)
            along, now = unit_vector(link.chassis - link.engine), unit_vector(outer - link.engine)
            turned = least_turn(along, now, link.engine)
            solid = solid.moved(turned) if isinstance(solid, Mesh) else turned.apply(solid)
            link = replace(link, chassis=outer)
            if travel is not None:
                point, direction = back.apply(travel.point), back.rotation @ travel.direction
                travel = replace(travel, point=point, direction=direction)
        return part, solid, pair_motion("engine", ZoneMotion(rides="link", travel=travel, link=link), demand.rock)


def _reach(shaft: Shaft) -> tuple[float, float]:
    """Return the least distance of the joints over the motion, mm, and the largest angle of the shaft, rad."""
    low, high = shaft.box
    middle = (low + high) / 2
    away = float(np.linalg.norm(shaft.outer_seen(middle[None]) - shaft.inner, axis=1)[0])
    angle = float(np.linalg.norm(np.maximum(np.abs(shaft.low), np.abs(shaft.high))))
    return away - moved_mm(shaft, (high - low) / 2), angle
