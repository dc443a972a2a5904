"""Is a demand kept over a whole cell of moves? Distances at the middle, bounds on how far they fall over the cell.

Translations of the rock and the stroke are folded into the bodies, exactly, as in the sweep: the chassis side
is swept by lift and shift seen in its own frame, and so is built anew for every turn of it (a turn of the move
or a swing of its own); else every body is built once. Angles of the motion are searched beside the move: what
is clear over the whole cell is never looked at again within the cell.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from clearance.distance.body import STILL, Slide
from clearance.distance.fcl_engine import PARALLEL_LOSS, Closest, FclBody
from clearance.distance.near import balls_of_mesh, balls_of_points, distance_to
from clearance.frames import Array, rotation_about
from clearance.motion.bodies import CELL_MM, SLACK_MM, corners, subset
from clearance.motion.branch import ROUNDING_MM
from clearance.moves.demand import Demand, Solid
from clearance.moves.insides import Inside
from clearance.moves.search import Left, Question, Ruling, search
from clearance.moves.sides import Rigid, after, longest, power, radii, stroke_slide, swept, thinned, trimmed
from clearance.moves.space import MoveSpace, rotation_of
from clearance.scene.mesh import Mesh

KEPT_BODIES = 64

CORNERS = np.array(list(product((-1.0, 1.0), repeat=3)))

THIN_SHARE = 0.25
"""Points are thinned to where they tell the clearance to this share of what the move may change it by."""


@dataclass(frozen=True, eq=False)
class Hinge:
    """One angle of the motion: axis, range, and how far a point moves for a turn, as a radius, mm."""

    point: Array
    direction: Array
    low: float
    high: float
    arm_mm: float


class Evaluator:
    """A demand made ready for questions about cells of moves.

    Parameters
    ----------
    demand : Demand
    space : MoveSpace
        Only cells within it may be asked about.
    """

    def __init__(self, demand: Demand, space: MoveSpace) -> None:
        self.demand, self._space, self.evaluations = demand, space, 0
        self._origin = space.about
        self._part_is_engine_side = demand.turned == "part"
        self._near(demand, space)
        self._set_hinges()
        self._bodies: OrderedDict[bytes, FclBody] = OrderedDict()
        self._inside = Inside(demand, self._origin)

    @property
    def always_clear(self) -> bool:
        """Whether no surface can come within the need in any move and state."""
        return self._none_near

    def culled(self) -> Demand | None:
        """Return the demand with what can come within the need alone; None where nothing can."""
        if self._none_near:
            return None
        part, zone = (trimmed(solid, -self._origin) for solid in (self._near_part, self._near_zone))
        assert isinstance(part, Mesh)
        speakers = self._inside.speakers if self.demand.speakers is None else self.demand.speakers
        return replace(self.demand, part=part, solid=zone, speakers=speakers)

    def everything(self) -> Left:
        """Return the whole box of the angles, of which nothing is known."""
        box = np.array([[h.low for h in self.hinges] + [h.high for h in self.hinges]], dtype=np.float64)
        return Left(box[:0] if self._none_near else box, np.full(0 if self._none_near else 1, -np.inf), np.zeros(6))

    def fall_mm(self, half: Array) -> float:
        """Return how far the clearance may fall, mm, as the move changes by its half widths (6,)."""
        if not self.demand.moves:
            return 0.0
        return float(np.linalg.norm(half[:3]) + np.linalg.norm(half[3:]) * self.arm_mm)

    def drift_mm(self, left: Left, centre: Array) -> float:
        """Return how far the clearance may have fallen, mm, from where `left` was found to a move."""
        return self.fall_mm(np.abs(centre - left.at))

    def rule(self, centre: Array, half: Array, left: Left, *, lost: bool = False) -> tuple[Ruling, Left]:
        """Tell whether the demand is kept in a cell of moves.

        Parameters
        ----------
        centre, half : (6,) float64
        left : what is not yet known to be clear over the cell
        lost : the cell is known not to be free: only whether it is blocked matters

        Returns
        -------
        ruling : FREE: kept by every move of the cell in every state. BLOCKED: by none.
        left : what is not known to be clear
        """
        fall = self.fall_mm(half)
        thin = self._thinness(fall)
        asked = Question(
            need_mm=self.demand.need_mm,
            fall_mm=fall,
            rise_mm=float(half[:3].min()) if self.demand.moves else 0.0,
            spare_mm=self._losses[thin] + self._excess_mm + ROUNDING_MM,
            closest=lambda angles: self._closest(centre, half, fall, angles, thin),
            falls=self._angle_falls,
        )
        ruling, own = search(asked, left, centre, self.drift_mm(left, centre), lost=lost)
        if ruling is Ruling.FREE and self.contained(centre):
            return Ruling.BLOCKED, own
        return ruling, own

    def _angle_falls(self, half: Array) -> Array:
        return np.array(
            [2 * np.sin(min(h, np.pi) / 2) * hinge.arm_mm for h, hinge in zip(half, self.hinges, strict=True)]
        )

    def _closest(self, move: Array, half: Array, fall: float, angles: Array, thin: int) -> tuple[float, float]:
        """Distance, mm, over all translations of the motion, at a move and angles, to the zone so thinned.

        Also by how much, mm, its two points may part at most as the move changes by its half widths.
        """
        self.evaluations += 1
        engine, chassis = self._poses(move, angles)
        first, second = self._engine_body(thin), self._chassis_body(chassis[0], thin)
        first.place(*engine)
        second.place(*chassis)
        found = first.closest(second)
        if not found.distance_mm or not half.any():
            return found.distance_mm, fall
        return found.distance_mm, min(fall, self._parting(found, move, half, angles))

    def _parting(self, found: Closest, move: Array, half: Array, angles: Array) -> float:
        """By how much two points may part, mm: the farthest corner of the shifts, and turns by the points' radius.

        A point y goes to R y + t, by the inverse to R^T (y - t): with the turn held the shifts carry it exactly
        along the turned axes, and a turn by w carries it by no more than |w| times its distance from the centre.
        """
        demand = self.demand
        if not demand.moves:
            return 0.0
        turned, seen = np.eye(3), found.on_b
        if demand.inner:
            turned, shift = self._turn("roll", dict(zip(self._hinge_names, angles, strict=True)))
            seen = (found.on_a - shift) @ turned
        if demand.inner + demand.outer < 0:
            turned = turned @ rotation_of(move).T
            radius = float(np.linalg.norm(seen))
        else:
            radius = float(np.linalg.norm(seen - move[:3]))
        if not demand.inner:
            radius += self._between.longest_mm
        apart = found.on_b - found.on_a
        corners = apart + (CORNERS * half[:3]) @ turned.T
        radius += float(np.linalg.norm(half[:3]))
        turn = float(np.linalg.norm(half[3:]))
        return float(np.linalg.norm(corners, axis=1).max()) - found.distance_mm + turn * radius

    def _thinness(self, fall: float) -> int:
        """Return the coarsest thinning of the zone's points that a cell with this fall allows; the last is none."""
        return next(i for i, loss in enumerate(self._losses) if loss <= THIN_SHARE * fall)

    def _poses(self, move: Array, angles: Array) -> tuple[Rigid, Rigid]:
        """Poses of both sides, coordinates about the centre of the moves."""
        at = dict(zip(self._hinge_names, angles, strict=True))
        swing = self._turn("travel", at)
        roll = self._turn("roll", at)
        inner, outer = power(move, self.demand.inner), power(move, self.demand.outer)
        if self._part_is_engine_side:
            return after(roll, inner), after(outer, swing)
        return after(roll, after(inner, swing)), outer

    def _turn(self, name: str, at: dict[str, float]) -> Rigid:
        if name not in at:
            return np.eye(3), np.zeros(3)
        hinge = self.hinges[self._hinge_names.index(name)]
        rotation = rotation_about(hinge.direction, at[name])
        return rotation, hinge.point - rotation @ hinge.point

    def _engine_body(self, thin: int) -> FclBody:
        if self._part_is_engine_side:
            thin = len(self._losses) - 1
        return self._body(b"engine%d" % thin, self._engine_side[thin], self._engine_slide)

    def _body(self, key: bytes, solid: Solid, slide: Slide) -> FclBody:
        """Return a body built before, or build it."""
        found = self._bodies.get(key)
        if found is None:
            found = self._bodies[key] = FclBody(swept(solid, slide))
            if len(self._bodies) > KEPT_BODIES:
                self._bodies.popitem(last=False)
        self._bodies.move_to_end(key)
        return found

    def _chassis_body(self, rotation: Array, thin: int) -> FclBody:
        """Return the chassis side swept by lift and shift as it sees them at `rotation`, and by its stroke."""
        if not self._part_is_engine_side:
            thin = len(self._losses) - 1
        still = not len(self._between.edges) and not np.any(self._between.base)
        key = b"chassis%d" % thin + (b"" if still else rotation.tobytes())
        slide = self._chassis_slide.plus(self._between.reversed().turned(rotation.T))
        return self._body(key, self._chassis_side[thin], slide)

    def _near(self, demand: Demand, space: MoveSpace) -> None:
        """Keep what can come within the need in any move and state; set bodies and slides."""
        middle, half = (space.low + space.high) / 2, (space.high - space.low) / 2
        part, _, solid, motion = demand.moved(space.motion(middle))
        farthest = float(np.linalg.norm(np.maximum(np.abs(space.low[:3]), np.abs(space.high[:3]))))

        def wander(points: Array, radii: Array, *, of_part: bool) -> Array:
            arms = motion.arms_mm(points, of_part=of_part) + radii[:, None]
            from_centre = np.linalg.norm(points - space.about, axis=1) + radii + farthest + 2 * motion.wander_mm(arms)
            carried = np.linalg.norm(half[:3]) + np.linalg.norm(half[3:]) * from_centre if demand.moves else 0.0
            moved: Array = motion.wander_mm(arms) + carried
            return moved

        rotation, shift = motion.zone_to_part(motion.middle, motion.half_shares)
        balls = balls_of_mesh(solid) if isinstance(solid, Mesh) else balls_of_points(solid, CELL_MM)
        away = distance_to(part, balls.centres @ rotation.T + shift) - balls.radii
        reach = demand.need_mm + SLACK_MM
        zone_keeps = (away - wander(balls.centres, balls.radii, of_part=False) <= reach)[balls.group]
        self._none_near = not zone_keeps.any()
        part_keeps = np.ones(len(demand.part.faces), dtype=bool)
        if not self._none_near:
            near_zone = subset(solid, zone_keeps)
            balls = balls_of_mesh(part)
            away = distance_to(near_zone, (balls.centres - shift) @ rotation) - balls.radii
            part_keeps = away - wander(balls.centres, balls.radii, of_part=True) <= reach
            self._none_near = not part_keeps.any()
        if self._none_near:
            zone_keeps[:1], part_keeps[:1] = True, True
        near_part = trimmed(subset(demand.part, part_keeps), self._origin)
        near_zone = trimmed(subset(demand.solid, zone_keeps), self._origin)
        self._set_bodies(near_part, near_zone)

    def _set_bodies(self, part: Solid, zone: Solid) -> None:
        demand = self.demand
        self._between = demand.rock.slide() if demand.rock is not None else STILL
        stroke = stroke_slide(demand)
        zones, self._losses = thinned(zone)
        parts = [part] * len(zones)
        engine_is_part = self._part_is_engine_side
        self._engine_side, self._chassis_side = (parts, zones) if engine_is_part else (zones, parts)
        self._engine_slide, self._chassis_slide = (STILL, stroke) if engine_is_part else (stroke, STILL)
        between = float(np.linalg.norm(self._between.edges, axis=1).sum())
        own = float(np.linalg.norm(stroke.edges, axis=1).sum())
        of_part = longest(part) + (0.0 if engine_is_part else between)
        of_zone = longest(zone) + own + (between if engine_is_part else 0.0)
        self._excess_mm = PARALLEL_LOSS * min(of_part, of_zone)
        self._near_part, self._near_zone = part, zone

    def _set_hinges(self) -> None:
        """Name the angles and bound the radii on which they, and the move, turn what is near."""
        demand, space = self.demand, self._space
        zone, part = corners(self._near_zone), corners(self._near_part)
        stroke = stroke_slide(demand)
        zone_reach, swung = stroke.longest_mm, 0.0
        hinges, names = list[Hinge](), list[str]()
        if demand.travel is not None:
            low, high = demand.travel.range_rad
            point = demand.travel.point - self._origin
            arm = float(radii(zone, point, demand.travel.direction).max()) + zone_reach
            swung = 2 * np.sin(min(max(-low, high), np.pi) / 2) * arm
            hinges.append(Hinge(point, demand.travel.direction, low, high, arm))
            names.append("travel")
        zone_wander = zone_reach + swung
        carried = np.maximum(np.abs(space.low), np.abs(space.high))
        shift_mm, turn_rad = float(np.linalg.norm(carried[:3])), float(np.linalg.norm(carried[3:]))
        part_far = float(np.linalg.norm(part, axis=1).max())
        zone_far = float(np.linalg.norm(zone, axis=1).max()) + zone_wander
        engine_far, chassis_far = (part_far, zone_far) if self._part_is_engine_side else (zone_far, part_far)
        engine, wander = (part, 0.0) if self._part_is_engine_side else (zone, zone_wander)
        if demand.rock is not None:
            low, high = demand.rock.roll_rad
            point = demand.rock.point - self._origin
            own = shift_mm + turn_rad * engine_far if demand.inner else 0.0
            arm = float(radii(engine, point, demand.rock.direction).max()) + wander + own
            hinges.append(Hinge(point, demand.rock.direction, low, high, arm))
            names.append("roll")
            rocked = 2 * np.sin(min(max(-low, high), np.pi) / 2) * arm + self._between.longest_mm
        else:
            rocked = 0.0
        self.hinges, self._hinge_names = tuple(hinges), names
        if demand.inner:
            self.arm_mm = engine_far
        elif demand.outer > 0:
            self.arm_mm = chassis_far
        else:
            self.arm_mm = min(chassis_far + shift_mm, engine_far + rocked)

    def contained(self, move: Array) -> bool:
        """Tell whether a body lies inside the other: asked at one move, for a cell in which no surfaces meet."""
        angles = np.array([(h.low + h.high) / 2 for h in self.hinges])
        return self._inside.at(self._space.motion(move), *self._poses(move, angles))
