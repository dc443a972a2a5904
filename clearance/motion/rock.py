"""The engine's rock on its mounts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.distance.body import Slide
from clearance.frames import Array, Pose, turn_about, unit_vector
from clearance.job.motions import Rock as RockTable


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
        roll_deg=table.roll_degrees,
        lift_mm=table.lift,
        shift_mm=table.shift,
    )
