"""One clearance that a move must keep: two bodies, how they move, which of them the move carries, and the need.

With T the rock, V the zone's own swing, c its stroke, s the lift and shift and M the move, every pair comes
down to the distance between an engine side T (I V B + ...) and a chassis side O V B - s, where of I and O at most
one is M or its inverse:

- the engine is moved, its mounts with it: M (T x + s) against y is T x against M^-1 y - s, so O = M^-1;
- the part alone, or a named zone, is moved: M is I on the engine side, O on the chassis side.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from clearance.frames import Array, Pose
from clearance.motion.pair import PairMotion
from clearance.motion.rock import Rock
from clearance.motion.zone_motion import Stroke, Travel
from clearance.scene.mesh import Mesh

Solid = Mesh | Array


@dataclass(frozen=True, eq=False, kw_only=True)
class Demand:
    """A pair and the clearance it needs.

    Attributes
    ----------
    zone : str
        Name, for messages.
    part : Mesh
        What distances are taken to, bay frame, neutral pose; over growth with heat the solids that it sweeps.
    whole : Mesh
        The part itself, for which body lies inside which.
    closed : bool
        Whether the part bounds a solid.
    solid : Mesh or (n, 3) float64
        The zone.
    zone_closed : bool
    rock : Rock or None
        Where it moves the two against each other.
    turned : "part" or "zone"
        Which of them is the engine side; "part" where nothing rocks.
    inner, outer : int
        Power of the move on the engine side and the chassis side: 0, 1 or -1.
    need_mm : float
    speakers : (k, 3) float64 or None
        Points of the zone, bay, that answer for all of it whether it lies inside the part; None: taken of `solid`.
    """

    zone: str
    part: Mesh
    whole: Mesh
    closed: bool
    solid: Solid
    zone_closed: bool
    rock: Rock | None = None
    turned: Literal["part", "zone"] = "part"
    travel: Travel | None = None
    stroke: Stroke | None = None
    inner: int = 0
    outer: int = 0
    need_mm: float
    speakers: Array | None = None

    @property
    def moves(self) -> bool:
        """Whether the move carries one of the two and not the other."""
        return bool(self.inner or self.outer)

    def moved(self, move: Pose) -> tuple[Mesh, Mesh, Solid, PairMotion]:
        """Return distances' part, whole part, zone and motion after a move, as `sweep` takes them."""
        of_part = self._carries(move, self.turned == "part")
        of_zone = self._carries(move, self.turned == "zone")
        solid = self.solid.moved(of_zone) if isinstance(self.solid, Mesh) else of_zone.apply(self.solid)
        travel, stroke = self.travel, self.stroke
        if travel is not None:
            travel = replace(travel, point=of_zone.apply(travel.point), direction=of_zone.rotation @ travel.direction)
        if stroke is not None:
            stroke = replace(stroke, direction=of_zone.rotation @ stroke.direction)
        motion = PairMotion(
            rock=self.rock, turned=self.turned if self.rock is not None else None, travel=travel, stroke=stroke
        )
        return self.part.moved(of_part), self.whole.moved(of_part), solid, motion

    def _carries(self, move: Pose, engine_side: bool) -> Pose:
        power = self.inner if engine_side else self.outer
        if power == 0:
            return Pose("bay", "bay", np.eye(4))
        return move if power > 0 else move.inverse()


def powers(*, rocks: bool, turned: str, of: str, part_goes: bool, zone_goes: bool) -> tuple[int, int]:
    """Return `inner` and `outer` of a pair of which the move carries part, zone, both or neither.

    Parameters
    ----------
    rocks, turned : as in `Demand`
    of : "engine", "transmission" or "part"
        The engine takes its mounts along, so that its side moves outside the rock.
    """
    if part_goes == zone_goes:
        return 0, 0
    engine_side = part_goes if turned == "part" else zone_goes
    if rocks and of == "engine":
        return (0, -1) if engine_side else (0, 1)
    return (1, 0) if engine_side else (0, 1)
