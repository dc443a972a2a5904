"""Which body lies inside which, where surfaces keep apart: their distance alone calls a swallowed body clear."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from clearance.distance.body import STILL
from clearance.distance.inside import Surface, one_vertex_per_body
from clearance.frames import Array, Pose
from clearance.motion.bodies import CELL_MM, shifted
from clearance.motion.swallowed import inside_at_middle, inside_what_is_swept
from clearance.moves.demand import Demand
from clearance.moves.sides import Rigid, stroke_slide
from clearance.scene.cubes import cubes
from clearance.scene.mesh import Mesh

LEAST_CUBE_MM = 0.2


class Inside:
    """The question for one demand; its search trees are built when first needed.

    Parameters
    ----------
    origin : (3,) float64
        Poses given to `at` are for coordinates about it, bay, mm.
    """

    def __init__(self, demand: Demand, origin: Array) -> None:
        self._demand, self._origin = demand, origin
        self.speakers = demand.speakers if demand.speakers is not None else speakers_of(demand)
        self._between = demand.rock.slide() if demand.rock is not None else STILL
        self._slow = demand.need_mm <= straight_reach_mm(demand)
        self._solid = isinstance(demand.solid, Mesh) and demand.zone_closed

    @cached_property
    def _whole(self) -> Surface:
        return Surface(self._demand.whole)

    @cached_property
    def _zone(self) -> Surface:
        assert isinstance(self._demand.solid, Mesh)
        return Surface(self._demand.solid)

    @cached_property
    def _part_speakers(self) -> Array:
        return one_vertex_per_body(self._demand.whole)

    def at(self, move: Pose, engine: Rigid, chassis: Rigid) -> bool:
        """Tell whether a body lies inside the other at a move, given the poses of both sides at the middle angles."""
        if not len(self.speakers) and not self._solid:
            return False
        if self._slow:
            return self._slowly(move)
        (ue, te), (uc, tc) = engine, chassis
        demand, between = self._demand, self._between.middle
        stroke = stroke_slide(demand).middle
        zone, part = self.speakers - self._origin + stroke, np.zeros((0, 3))
        if self._solid:
            part = self._part_speakers - self._origin
        if demand.turned == "part":
            seen = (zone @ uc.T + tc - between - te) @ ue
            back = ((part @ ue.T + te) + between - tc) @ uc - stroke
        else:
            seen = (zone @ ue.T + te + between - tc) @ uc
            back = ((part @ uc.T + tc) - between - te) @ ue - stroke
        if _any_inside(self._whole, seen + self._origin):
            return True
        return self._solid and _any_inside(self._zone, back + self._origin)

    def _slowly(self, move: Pose) -> bool:
        """Ask as the sweep does, where a body may lie inside what one primitive sweeps."""
        demand = self._demand
        solid = demand.solid if isinstance(demand.solid, Mesh) else self.speakers
        _, whole, solid, motion = replace(demand, solid=solid).moved(move)
        moving = shifted(whole, demand.closed, solid, demand.zone_closed, motion)
        return inside_at_middle(moving) or inside_what_is_swept(moving)


def straight_reach_mm(demand: Demand) -> float:
    """Return how far the straight motions carry a body from their middle, mm."""
    between = demand.rock.slide() if demand.rock is not None else STILL
    return between.reach_mm + stroke_slide(demand).reach_mm


def speakers_of(demand: Demand) -> Array:
    """Return points of a zone, (k, 3), that answer for all of it whether it lies inside the part.

    Where surfaces keep the need, all points of a cube with a diagonal below it lie on the same side. Where the
    straight motions may carry a body as far as that, every point answers for itself.
    """
    solid = demand.solid
    if isinstance(solid, Mesh):
        return one_vertex_per_body(solid)
    side = min(CELL_MM, 0.99 * demand.need_mm / np.sqrt(3.0))
    if side < LEAST_CUBE_MM or demand.need_mm <= straight_reach_mm(demand):
        return solid
    return solid[cubes(solid, side)[0]]


def _any_inside(surface: Surface, points: Array) -> bool:
    if not len(points):
        return False
    boxed = points[((points >= surface.low) & (points <= surface.high)).all(axis=1)]
    return bool(len(boxed)) and bool((surface.signed_distance(boxed)[0] < 0).any())
