"""The engine's rock on its mounts, and which body of a pair it moves."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import lsq_linear

from clearance.distance.body import STILL, Slide
from clearance.frames import Array, Pose, rotation_about, turn_about, unit_vector
from clearance.job.motions import Rock as RockTable
from clearance.motion.result import MotionState


@dataclass(frozen=True, eq=False, kw_only=True)
class Rock:
    """Motion of the engine against the chassis, bay frame.

    `T_bay_engine(roll, lift, shift)` turns by `roll` about the rock axis (right-handed), then
    translates by lift * up + shift * forward.

    Attributes
    ----------
    point, direction : (3,) float64
        Rock axis, mm; `direction`, `up` and `forward` have length 1.
    roll_rad, lift_mm, shift_mm : (low, high)
    """

    point: Array
    direction: Array
    up: Array
    forward: Array
    roll_rad: tuple[float, float]
    lift_mm: tuple[float, float]
    shift_mm: tuple[float, float]

    def pose(self, roll_rad: float, lift_mm: float, shift_mm: float) -> Pose:
        """Return how engine points at the neutral pose move, bay to bay."""
        turned = turn_about("bay", "bay", self.point, self.direction, roll_rad).matrix.copy()
        turned[:3, 3] += lift_mm * self.up + shift_mm * self.forward
        return Pose("bay", "bay", turned)

    def slide(self) -> Slide:
        """Return lift x shift as a set of translations."""
        base = self.lift_mm[0] * self.up + self.shift_mm[0] * self.forward
        spans = [(self.lift_mm, self.up), (self.shift_mm, self.forward)]
        edges = [(high - low) * along for (low, high), along in spans if high > low]
        return Slide(base, np.array(edges).reshape(-1, 3))

    def split_translation(self, translation: Array) -> tuple[float, float]:
        """Return the (lift_mm, shift_mm) within their ranges that come nearest to a translation.

        Lift and shift may be parallel, so the ranges are part of the question.
        """
        axes = np.stack([self.up, self.forward], axis=1)
        free = np.array([self.lift_mm[1] > self.lift_mm[0], self.shift_mm[1] > self.shift_mm[0]])
        values = np.array([self.lift_mm[0], self.shift_mm[0]], dtype=np.float64)
        if free.any():
            rest = translation - axes[:, ~free] @ values[~free]
            ranges = np.array([self.lift_mm, self.shift_mm])[free].T
            values[free] = lsq_linear(axes[:, free], rest, bounds=tuple(ranges), method="bvls", tol=1e-14).x
        return (
            float(np.clip(values[0], *self.lift_mm)),
            float(np.clip(values[1], *self.shift_mm)),
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class PairMotion:
    """Motion of part against zone: `turned` ("part" or "zone") rocks, the other stands still.

    `turned` is None where both ride on the same carrier or nothing moves.
    """

    rock: Rock | None = None
    turned: str | None = None

    @property
    def roll_rad(self) -> tuple[float, float]:
        """Roll range, rad; (0, 0) without motion."""
        return self.rock.roll_rad if self.rock and self.turned else (0.0, 0.0)

    @property
    def slide(self) -> Slide:
        """Translations of the turned body."""
        return self.rock.slide() if self.rock and self.turned else STILL

    def about(self, origin: Array) -> PairMotion:
        """Return the same motion for coordinates counted from `origin` (3,), mm."""
        if self.rock is None:
            return self
        return replace(self, rock=replace(self.rock, point=self.rock.point - origin))

    def rotation(self, roll_rad: float) -> tuple[Array, Array]:
        """Return rotation (3, 3) and translation (3,) of the turned body for the roll alone."""
        if not (self.rock and self.turned):
            return np.eye(3), np.zeros(3)
        rotation = rotation_about(self.rock.direction, roll_rad)
        return rotation, self.rock.point - rotation @ self.rock.point

    def radii_mm(self, points: Array) -> Array:
        """Return the distance of (n, 3) points from the rock axis, mm; zeros without motion."""
        if not (self.rock and self.turned):
            return np.zeros(len(points))
        away = points - self.rock.point
        radii: Array = np.linalg.norm(away - np.outer(away @ self.rock.direction, self.rock.direction), axis=1)
        return radii

    def state(self, roll_rad: float, translation: Array) -> MotionState:
        """Return the named pose for a roll and a translation of the turned body."""
        if not (self.rock and self.turned):
            return MotionState()
        lift, shift = self.rock.split_translation(translation)
        return MotionState(roll_rad=roll_rad, lift_mm=lift, shift_mm=shift)

    def poses(self, state: MotionState) -> tuple[Pose, Pose]:
        """Return how the part and the zone move from the neutral pose to `state`, bay to bay."""
        still = Pose("bay", "bay", np.eye(4))
        if not (self.rock and self.turned):
            return still, still
        moved = self.rock.pose(state.roll_rad or 0.0, state.lift_mm or 0.0, state.shift_mm or 0.0)
        return (moved, still) if self.turned == "part" else (still, moved)


def pair_motion(part_rides: str, zone_rides: str, rock: Rock | None) -> PairMotion:
    """Return the motion of a pair from what each rides on ("chassis" or "engine")."""
    if rock is None or part_rides == zone_rides:
        return PairMotion()
    return PairMotion(rock=rock, turned="part" if part_rides == "engine" else "zone")


def rock_from(
    *,
    point: Array,
    direction: Array,
    up: Array,
    forward: Array,
    roll_deg: tuple[float, float],
    lift_mm: tuple[float, float],
    shift_mm: tuple[float, float],
) -> Rock:
    """Build a rock from job-file values (degrees, mm; directions of any length)."""
    return Rock(
        point=np.asarray(point, dtype=np.float64),
        direction=unit_vector(direction),
        up=unit_vector(up),
        forward=unit_vector(forward),
        roll_rad=(float(np.radians(roll_deg[0])), float(np.radians(roll_deg[1]))),
        lift_mm=lift_mm,
        shift_mm=shift_mm,
    )


def rock_of(table: RockTable | None) -> Rock | None:
    """Build the rock of a job's [rock] table; None where the job has none."""
    if table is None:
        return None
    return rock_from(
        point=np.array(table.axis.point),
        direction=np.array(table.axis.direction),
        up=np.array(table.up),
        forward=np.array(table.forward),
        roll_deg=table.roll,
        lift_mm=table.lift,
        shift_mm=table.shift,
    )
