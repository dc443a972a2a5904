"""Is a demand kept over a whole cell of moves? Distances at the middle, bounds on how far they fall over the cell.

Translations of the rock and the stroke are folded into the bodies, exactly, as in the sweep: the chassis side
is swept by lift and shift seen in its own frame, and so is built anew for every turn of it (a turn of the move
or a swing of its own); else every body is built once. Angles of the motion are searched beside the move: what
is clear over the whole cell is never looked at again within the cell.
"""

from __future__ import annotations

import heapq
from collections import OrderedDict
from dataclasses import dataclass
from enum import IntEnum

import numpy as np

from clearance.distance.body import STILL, Body, Slide, mesh_body, point_body
from clearance.distance.fcl_engine import PARALLEL_LOSS, FclBody
from clearance.distance.inside import Surface, one_vertex_per_body
from clearance.distance.near import balls_of_mesh, balls_of_points, distance_to
from clearance.frames import Array, rotation_about
from clearance.motion.bodies import CELL_MM, SLACK_MM, corners, shifted, subset
from clearance.motion.branch import ROUNDING_MM
from clearance.motion.swallowed import inside_at_middle, inside_what_is_swept
from clearance.moves.demand import Demand, Solid
from clearance.moves.space import MoveSpace, rotation_of
from clearance.scene.cubes import cubes
from clearance.scene.mesh import Mesh

SHARE = 0.5
"""Angles are cut until they may lower the clearance by no more than this share of what the move may."""

FINEST_MM = 0.002
"""At a single move angles are cut until they may lower the clearance by no more than this."""

KEPT_BODIES = 64

Rigid = tuple[Array, Array]


class Ruling(IntEnum):
    """What is known of a cell of moves."""

    UNDECIDED = 0
    FREE = 1
    BLOCKED = 2


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
        self._insides()

    @property
    def always_clear(self) -> bool:
        """Whether no surface can come within the need in any move and state."""
        return self._none_near

    def everything(self) -> Array:
        """Return the whole box of the angles, (1, 2 a)."""
        return np.array([[h.low for h in self.hinges] + [h.high for h in self.hinges]], dtype=np.float64)

    def fall_mm(self, half: Array) -> float:
        """Return how far the clearance may fall, mm, as the move changes by its half widths (6,)."""
        if not self.demand.moves:
            return 0.0
        return float(np.linalg.norm(half[:3]) + np.linalg.norm(half[3:]) * self.arm_mm)

    def rule(self, centre: Array, half: Array, boxes: Array) -> tuple[Ruling, Array, float]:
        """Tell whether the demand is kept in a cell of moves.

        Parameters
        ----------
        centre, half : (6,) float64
        boxes : (k, 2 a) float64
            Boxes of angles that are not yet known to be clear over the cell.

        Returns
        -------
        ruling : FREE: kept by every move of the cell in every state. BLOCKED: by none.
        left : (k', 2 a) boxes that are not known to be clear
        least : smallest distance met, mm
        """
        need, fall = self.demand.need_mm, self.fall_mm(half)
        least, left = np.inf, list[Array]()
        if not self._none_near and len(boxes):
            heap: list[tuple[float, int, Array, float | None]] = [
                (-np.inf, i, box, None) for i, box in enumerate(boxes)
            ]
            count = len(heap)
            while heap:
                floor, _, box, known = heapq.heappop(heap)
                if left and floor >= need - fall:  # Neither this nor any other can block the cell: enough is known.
                    left += [box, *(other for _, _, other, _ in heap)]
                    break
                low, high = np.split(box, 2)
                distance = self._distance(centre, (low + high) / 2) if known is None else known
                least = min(least, distance)
                if distance + fall < need:
                    return Ruling.BLOCKED, boxes, least
                falls = self._angle_falls((high - low) / 2)
                turned = float(falls.sum())
                if distance - self._excess_mm - ROUNDING_MM - fall - turned >= need:
                    continue
                if turned <= max(SHARE * fall, FINEST_MM):
                    left.append(box)
                    continue
                for child, own in self._cut(box, int(falls.argmax()), distance):
                    count += 1
                    heapq.heappush(heap, (distance - turned, count, child, own))
        if left:
            return Ruling.UNDECIDED, np.array(left), least
        inside = self.contained(centre)
        return (Ruling.BLOCKED if inside else Ruling.FREE), np.zeros((0, boxes.shape[1])), least

    def _cut(self, box: Array, axis: int, distance: float) -> list[tuple[Array, float | None]]:
        """Cut a box of angles in three; the middle keeps its distance."""
        count = len(self.hinges)
        third = (box[count + axis] - box[axis]) / 3
        cuts = (box[axis], box[axis] + third, box[count + axis] - third, box[count + axis])
        made: list[tuple[Array, float | None]] = []
        for i in range(3):
            child = box.copy()
            child[axis], child[count + axis] = cuts[i], cuts[i + 1]
            made.append((child, distance if i == 1 else None))
        return made

    def _angle_falls(self, half: Array) -> Array:
        return np.array(
            [2 * np.sin(min(h, np.pi) / 2) * hinge.arm_mm for h, hinge in zip(half, self.hinges, strict=True)]
        )

    def _distance(self, move: Array, angles: Array) -> float:
        """Distance, mm, over all translations of the motion, at a move and angles."""
        self.evaluations += 1
        engine, chassis = self._poses(move, angles)
        own = self._chassis_body(chassis[0])
        self._engine_body.place(*engine)
        own.place(*chassis)
        return self._engine_body.closest(own).distance_mm

    def _poses(self, move: Array, angles: Array) -> tuple[Rigid, Rigid]:
        """Poses of both sides, coordinates about the centre of the moves."""
        at = dict(zip(self._hinge_names, angles, strict=True))
        swing = self._turn("travel", at)
        roll = self._turn("roll", at)
        inner, outer = _power(move, self.demand.inner), _power(move, self.demand.outer)
        if self._part_is_engine_side:
            return _after(roll, inner), _after(outer, swing)
        return _after(roll, _after(inner, swing)), outer

    def _turn(self, name: str, at: dict[str, float]) -> Rigid:
        if name not in at:
            return np.eye(3), np.zeros(3)
        hinge = self.hinges[self._hinge_names.index(name)]
        rotation = rotation_about(hinge.direction, at[name])
        return rotation, hinge.point - rotation @ hinge.point

    def _chassis_body(self, rotation: Array) -> FclBody:
        """Return the chassis side swept by lift and shift as it sees them at `rotation`, and by its stroke."""
        if not len(self._between.edges):
            key, slide = b"", self._chassis_slide.plus(self._between.reversed().turned(rotation.T))
            if np.any(self._between.base):
                key = rotation.tobytes()
        else:
            key, slide = rotation.tobytes(), self._chassis_slide.plus(self._between.reversed().turned(rotation.T))
        found = self._bodies.get(key)
        if found is None:
            found = self._bodies[key] = FclBody(_swept(self._chassis_near, slide))
            if len(self._bodies) > KEPT_BODIES:
                self._bodies.popitem(last=False)
        else:
            self._bodies.move_to_end(key)
        return found

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
        near_part = _trimmed(subset(demand.part, part_keeps), self._origin)
        near_zone = _trimmed(subset(demand.solid, zone_keeps), self._origin)
        self._set_bodies(near_part, near_zone)

    def _set_bodies(self, part: Solid, zone: Solid) -> None:
        demand = self.demand
        self._between = demand.rock.slide() if demand.rock is not None else STILL
        stroke = _stroke_slide(demand)
        engine, self._chassis_near = (part, zone) if self._part_is_engine_side else (zone, part)
        engine_slide, self._chassis_slide = (STILL, stroke) if self._part_is_engine_side else (stroke, STILL)
        self._engine_body = FclBody(_swept(engine, engine_slide))
        edges = np.vstack([self._between.edges, self._chassis_slide.edges])
        longest = _longest(self._chassis_near) + float(np.linalg.norm(edges, axis=1).sum())
        self._excess_mm = PARALLEL_LOSS * min(self._engine_body.longest_edge_mm, longest)
        if not isinstance(zone, Mesh) and not len(edges) and not len(engine_slide.edges):
            self._excess_mm = 0.0
        self._near_part, self._near_zone = part, zone

    def _set_hinges(self) -> None:
        """Name the angles and bound the radii on which they, and the move, turn what is near."""
        demand, space = self.demand, self._space
        zone, part = corners(self._near_zone), corners(self._near_part)
        stroke = _stroke_slide(demand)
        zone_reach, swung = stroke.longest_mm, 0.0
        hinges, names = list[Hinge](), list[str]()
        if demand.travel is not None:
            low, high = demand.travel.range_rad
            point = demand.travel.point - self._origin
            arm = float(_radii(zone, point, demand.travel.direction).max()) + zone_reach
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
            arm = float(_radii(engine, point, demand.rock.direction).max()) + wander + own
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

    def _insides(self) -> None:
        """Make ready the question which body lies inside which, where surfaces keep the need."""
        demand = self.demand
        side = min(CELL_MM, 0.99 * demand.need_mm / np.sqrt(3.0))
        if isinstance(demand.solid, Mesh):
            self._speakers = one_vertex_per_body(demand.solid)
        else:
            first = cubes(demand.solid, side)[0] if side > 0.2 else np.arange(len(demand.solid))
            self._speakers = demand.solid[first]
        self._whole = Surface(demand.whole)
        closed = isinstance(demand.solid, Mesh) and demand.zone_closed
        self._zone_surface = Surface(demand.solid) if closed and isinstance(demand.solid, Mesh) else None
        self._part_speakers = one_vertex_per_body(demand.whole)
        slides = [self._between, _stroke_slide(demand)]
        self._slow = demand.need_mm <= sum(slide.reach_mm for slide in slides)

    def contained(self, move: Array) -> bool:
        """Tell whether a body lies inside the other: asked at one move, for a cell in which no surfaces meet."""
        demand, motion = self.demand, self._space.motion(move)
        if self._slow:
            _, whole, solid, pair = demand.moved(motion)
            moving = shifted(whole, demand.closed, solid, demand.zone_closed, pair)
            return inside_at_middle(moving) or inside_what_is_swept(moving)
        angles = np.array([(h.low + h.high) / 2 for h in self.hinges])
        (ue, te), (uc, tc) = self._poses(move, angles)
        stroke = _stroke_slide(demand).middle
        zone = self._speakers - self._origin + stroke
        part = self._part_speakers - self._origin
        between = self._between.middle
        if self._part_is_engine_side:
            seen = (zone @ uc.T + tc - between - te) @ ue
            back = ((part @ ue.T + te) + between - tc) @ uc - stroke
        else:
            seen = (zone @ ue.T + te + between - tc) @ uc
            back = ((part @ uc.T + tc) - between - te) @ ue - stroke
        if _any_inside(self._whole, seen + self._origin):
            return True
        return self._zone_surface is not None and _any_inside(self._zone_surface, back + self._origin)


def _any_inside(surface: Surface, points: Array) -> bool:
    boxed = points[((points >= surface.low) & (points <= surface.high)).all(axis=1)]
    return bool(len(boxed)) and bool((surface.signed_distance(boxed)[0] < 0).any())


def _power(move: Array, power: int) -> Rigid:
    """Return the move, its inverse or standing still, coordinates about the centre of the moves."""
    if power == 0:
        return np.eye(3), np.zeros(3)
    rotation = rotation_of(move)
    return (rotation, move[:3]) if power > 0 else (rotation.T, -rotation.T @ move[:3])


def _after(second: Rigid, first: Rigid) -> Rigid:
    return second[0] @ first[0], second[0] @ first[1] + second[1]


def _stroke_slide(demand: Demand) -> Slide:
    if demand.stroke is None:
        return STILL
    low, high = demand.stroke.range_mm
    edges = [(high - low) * demand.stroke.direction] if high > low else []
    return Slide(low * demand.stroke.direction, np.array(edges).reshape(-1, 3))


def _swept(solid: Solid, slide: Slide) -> Body:
    return mesh_body(solid, slide) if isinstance(solid, Mesh) else point_body(solid, slide)


def _trimmed(solid: Solid, origin: Array) -> Solid:
    """Return a body about `origin` without the vertices that no triangle uses."""
    if not isinstance(solid, Mesh):
        return solid - origin
    used, faces = np.unique(solid.faces, return_inverse=True)
    return Mesh(solid.vertices[used] - origin, faces.reshape(-1, 3).astype(np.int64))


def _longest(solid: Solid) -> float:
    if not isinstance(solid, Mesh):
        return 0.0
    edges = solid.triangles - np.roll(solid.triangles, 1, axis=1)
    return float(np.linalg.norm(edges, axis=2).max())


def _radii(points: Array, point: Array, direction: Array) -> Array:
    away = points - point
    radii: Array = np.linalg.norm(away - np.outer(away @ direction, direction), axis=1)
    return radii
