"""How part and zone of a pair move against each other.

Every pair is brought to one form. In a middle frame (the chassis where the part rides on the engine
and the zone does not, else the zone's carrier) a point p of the part and a point z of the zone are apart by

    U (p + a) + b - V (z + c)

with U the turns that the part sees (roll), V those of the zone (travel, or a shaft's two angles) and
a, b, c translations out of fixed sets (`slides`): lift and shift are b where the part rides on the
engine, -a where only the zone does, stroke is c. Points p and z are those of the neutral pose, bay frame.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from clearance.distance.body import STILL, Slide
from clearance.frames import Array, Pose, rigid, rotation_about
from clearance.motion.result import MotionState
from clearance.motion.rock import Rock
from clearance.motion.shaft import Shaft, shaft_of
from clearance.motion.zone_motion import Stroke, Travel, ZoneMotion

Rigid = tuple[Array, Array]
"""Rotation (3, 3) and translation (3,), mm: x -> rotation x + translation."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Hinge:
    """One angle of a pair's motion.

    Attributes
    ----------
    name : str
    of_part : bool
        Whether it turns the part, else the zone, in the middle frame.
    point : (3,) float64, mm
    direction : (3,) float64 or None
        None: the angle is one of two about a joint at `point`.
    low, high : float, rad
    """

    name: str
    of_part: bool
    point: Array
    direction: Array | None
    low: float
    high: float

    def radii_mm(self, points: Array) -> Array:
        """Return the distance, (n,) mm, of (n, 3) points from the axis or joint."""
        away = points - self.point
        if self.direction is not None:
            away = away - np.outer(away @ self.direction, self.direction)
        radii: Array = np.linalg.norm(away, axis=1)
        return radii

    def chord(self, half_rad: float) -> float:
        """Return how far a point at radius 1 moves at most as the angle changes by `half_rad`.

        exp(a e1 + b e2) turns by no more than |d(a, b)| in all, so for a joint the angle itself bounds it.
        """
        return float(half_rad if self.direction is None else 2 * np.sin(min(half_rad, np.pi) / 2))


@dataclass(frozen=True, eq=False, kw_only=True)
class PairMotion:
    """Motion of part against zone, coordinates of the bay at the neutral pose.

    Attributes
    ----------
    rock, turned
        `turned` ("part" or "zone") rides on the engine, the other does not; None where the rock
        moves neither against the other.
    travel, stroke
        The zone's own, carried by its carrier.
    shaft
        Where the zone is a link, which then stands for the rock and the travel.
    """

    rock: Rock | None = None
    turned: str | None = None
    travel: Travel | None = None
    stroke: Stroke | None = None
    shaft: Shaft | None = None

    @property
    def _rocks(self) -> Rock | None:
        return self.rock if self.turned and self.shaft is None else None

    @cached_property
    def hinges(self) -> tuple[Hinge, ...]:
        """The angles that move the pair, in the order of `low`, `high` and of a sweep's cells."""
        if self.shaft is not None:
            return tuple(
                Hinge(
                    name=name, of_part=False, point=self.shaft.inner, direction=None,
                    low=float(self.shaft.low[i]), high=float(self.shaft.high[i]),
                )
                for i, name in enumerate(("link_a", "link_b"))
            )  # fmt: skip
        found = []
        if rock := self._rocks:
            low, high = rock.roll_rad
            found.append(
                Hinge(name="roll", of_part=True, point=rock.point, direction=rock.direction, low=low, high=high)
            )
        if (travel := self.travel) is not None:
            low, high = travel.range_rad
            found.append(
                Hinge(name="travel", of_part=False, point=travel.point, direction=travel.direction, low=low, high=high)
            )
        return tuple(found)

    @property
    def angles(self) -> tuple[str, ...]:
        """Names of the angles."""
        return tuple(hinge.name for hinge in self.hinges)

    @property
    def low(self) -> Array:
        """(a,) lowest angles, rad."""
        return np.array([hinge.low for hinge in self.hinges], dtype=np.float64)

    @property
    def high(self) -> Array:
        """(a,) highest angles, rad."""
        return np.array([hinge.high for hinge in self.hinges], dtype=np.float64)

    @cached_property
    def middle(self) -> Array:
        """(a,) angles of the middle of the motion, one of its states."""
        if self.shaft is not None:
            middle: Array = self.shaft.coordinates(np.mean(self.shaft.box, axis=0)[None])[0]
            return middle
        return (self.low + self.high) / 2

    @cached_property
    def slides(self) -> tuple[Slide, Slide, Slide]:
        """Translations a, b and c: in the part's frame, the middle frame and the zone's frame."""
        of_part = of_middle = of_zone = STILL
        if rock := self._rocks:
            of_part, of_middle = (STILL, rock.slide()) if self.turned == "part" else (rock.slide().reversed(), STILL)
        if self.stroke is not None:
            low, high = self.stroke.range_mm
            edges = [(high - low) * self.stroke.direction] if high > low else []
            of_zone = Slide(low * self.stroke.direction, np.array(edges).reshape(-1, 3))
        return of_part, of_middle, of_zone

    @property
    def half_shares(self) -> Array:
        """Shares of every slide's edges at the middle of the motion."""
        return np.full(sum(len(slide.edges) for slide in self.slides), 0.5)

    @property
    def reach_mm(self) -> float:
        """Farthest that the translations move the bodies against each other from the middle of the motion, mm."""
        return sum(slide.reach_mm for slide in self.slides)

    @property
    def moves(self) -> bool:
        """Whether part and zone move against each other at all."""
        return bool((self.high > self.low).any()) or any(len(slide.edges) for slide in self.slides)

    def about(self, origin: Array) -> PairMotion:
        """Return the same motion for coordinates counted from `origin` (3,), mm."""
        return replace(
            self,
            rock=None if self.rock is None else replace(self.rock, point=self.rock.point - origin),
            travel=None if self.travel is None else replace(self.travel, point=self.travel.point - origin),
            shaft=None if self.shaft is None else self.shaft.about(origin),
        )

    def turns(self, angles: Array) -> tuple[Rigid, Rigid]:
        """Return U and V at (a,) angles, rad."""
        still = (np.eye(3), np.zeros(3))
        if self.shaft is not None:
            return still, _about(self.shaft.rotation(angles), self.shaft.inner)
        turn = dict(zip(self.angles, angles, strict=True))
        of_part = of_zone = still
        if rock := self._rocks:
            signed = turn["roll"] if self.turned == "part" else -turn["roll"]
            of_part = _about(rotation_about(rock.direction, signed), rock.point)
        if self.travel is not None:
            of_zone = _about(rotation_about(self.travel.direction, turn["travel"]), self.travel.point)
        return of_part, of_zone

    def translations(self, shares: Array) -> tuple[Array, Array, Array]:
        """Return a, b and c, (3,) mm, for (k,) shares of the slides' edges."""
        made, start = [], 0
        for slide in self.slides:
            stop = start + len(slide.edges)
            made.append(slide.base + shares[start:stop] @ slide.edges)
            start = stop
        return made[0], made[1], made[2]

    def zone_to_part(self, angles: Array, shares: Array) -> Rigid:
        """Return how points of the zone are seen from the part, both in coordinates of the neutral pose."""
        (u, u_shift), (v, v_shift) = self.turns(angles)
        a, b, c = self.translations(shares)
        return u.T @ v, u.T @ (v @ c + v_shift - b - u_shift) - a

    def arms_mm(self, points: Array, *, of_part: bool) -> Array:
        """Bound the radius on which each of (n, 3) points of a body turns against the other, (n, a) mm.

        A hinge that turns the body itself has the point's distance from its axis, slide included. To turn
        the other body by an angle is, for the distance, to turn this one the other way: there counts the
        point's distance from that axis in the middle of the motion and how far it wanders from there.
        """
        (u, u_shift), (v, v_shift) = self.turns(self.middle)
        a, b, c = (slide.middle for slide in self.slides)
        if of_part:
            turned, slide, between = (points + a) @ u.T + u_shift, self.slides[0], b
        else:
            turned, slide, between = (points + c) @ v.T + v_shift, self.slides[2], -b
        arms = np.zeros((len(points), len(self.hinges)))
        wander = np.full(len(points), slide.reach_mm + self.slides[1].reach_mm)
        for k, hinge in enumerate(self.hinges):
            if hinge.of_part == of_part:
                arms[:, k] = hinge.radii_mm(turned) + slide.reach_mm
                wander += hinge.chord(self._half_ranges[k]) * arms[:, k]
        for k, hinge in enumerate(self.hinges):
            if hinge.of_part != of_part:
                arms[:, k] = hinge.radii_mm(turned + between) + wander
        return arms

    @property
    def _half_ranges(self) -> Array:
        return np.maximum(self.high - self.middle, self.middle - self.low)

    def chords(self, half: Array) -> Array:
        """Return how far, (a,), points at radius 1 move as each angle changes by its half width."""
        return np.array([hinge.chord(float(h)) for hinge, h in zip(self.hinges, half, strict=True)])

    def wander_mm(self, arms: Array) -> Array:
        """Return how far, (n,) mm, points with (n, a) arms move from the middle of the motion at most."""
        moved: Array = arms @ self.chords(self._half_ranges) + self.reach_mm
        return moved

    def state(self, angles: Array, shares: Array) -> MotionState:
        """Return the named pose for (a,) angles and (k,) shares of the slides' edges; a link is asked by its own."""
        if self.shaft is not None:
            return self.link_state(self.shaft.nearest_state(angles))
        values: dict[str, float] = {f"{name}_rad": float(at) for name, at in zip(self.angles, angles, strict=True)}
        left = iter(shares)
        for name, (low, high) in self._straight.items():
            values[name] = float(np.clip(low + next(left) * (high - low), low, high)) if high > low else float(low)
        return MotionState(**values)

    def link_state(self, values: Array) -> MotionState:
        """Return the named pose for a link's (4,) roll, lift, shift and travel."""
        roll, lift, shift, travel = (float(v) for v in values)
        rocks = {"roll_rad": roll, "lift_mm": lift, "shift_mm": shift} if self.rock is not None else {}
        return MotionState(**rocks, travel_rad=travel if self.travel is not None else None)

    @property
    def _straight(self) -> dict[str, tuple[float, float]]:
        """Ranges of the straight motions, in the order of the slides' edges."""
        ranges = {}
        if rock := self._rocks:
            ranges = {"lift_mm": rock.lift_mm, "shift_mm": rock.shift_mm}
        if self.stroke is not None:
            ranges["stroke_mm"] = self.stroke.range_mm
        return ranges

    def coordinates(self, state: MotionState) -> tuple[Array, Array]:
        """Return the (a,) angles, rad, and the straight motions, mm, of a state, each relative to the pair."""
        if self.shaft is not None:
            return self.shaft.coordinates(_values(state)[None])[0], np.zeros(0)
        angles = [getattr(state, f"{name}_rad") or 0.0 for name in self.angles]
        return np.array(angles), np.array([getattr(state, name) or 0.0 for name in self._straight])

    def poses(self, state: MotionState) -> tuple[Pose, Pose]:
        """Return how the part and the zone move from the neutral pose to `state`, bay to bay."""
        still = Pose("bay", "bay", np.eye(4))
        rocked = still
        if self.rock is not None and self.turned:
            rocked = self.rock.pose(state.roll_rad or 0.0, state.lift_mm or 0.0, state.shift_mm or 0.0)
        if self.shaft is not None:
            angles, _ = self.coordinates(state)
            pointed = rigid("bay", "bay", *_about(self.shaft.rotation(angles), self.shaft.inner))
            return rocked, rocked @ pointed
        own = still if self.stroke is None else self.stroke.pose(state.stroke_mm or 0.0)
        own = own if self.travel is None else self.travel.pose(state.travel_rad or 0.0) @ own
        return (rocked, own) if self.turned == "part" else (still, rocked @ own)


def pair_motion(part_rides: str, zone: ZoneMotion | str, rock: Rock | None) -> PairMotion:
    """Return the motion of a pair.

    Parameters
    ----------
    part_rides : "chassis" or "engine"
    zone : ZoneMotion or str
        A plain carrier stands for a zone without motion of its own.
    rock : Rock or None

    Raises
    ------
    ValueError
        For a carrier that is neither, nor a link, and for a link beside a part on the chassis or a stroke.
    """
    motion = ZoneMotion(rides=zone) if isinstance(zone, str) else zone
    carriers = ("chassis", "engine")
    if motion.link is not None:
        if part_rides != "engine" or motion.stroke is not None:
            raise ValueError("a link needs a part that rides on the engine, and has no stroke")
        shaft = shaft_of(motion.link, rock, motion.travel)
        return PairMotion(rock=rock, turned="part" if rock else None, travel=motion.travel, shaft=shaft)
    if part_rides not in carriers or motion.rides not in carriers:
        raise ValueError(f"carriers are {carriers}, not {part_rides!r} and {motion.rides!r}")
    if rock is None or part_rides == motion.rides:
        return PairMotion(travel=motion.travel, stroke=motion.stroke)
    turned = "part" if part_rides == "engine" else "zone"
    return PairMotion(rock=rock, turned=turned, travel=motion.travel, stroke=motion.stroke)


def _about(rotation: Array, point: Array) -> Rigid:
    return rotation, point - rotation @ point


def _values(state: MotionState) -> Array:
    """(4,) roll, lift, shift and travel of a link's state."""
    values = (state.roll_rad, state.lift_mm, state.shift_mm, state.travel_rad)
    return np.array([0.0 if v is None else v for v in values])
