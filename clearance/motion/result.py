"""What a sweep tells: a certified minimum, where it happens, and the cells that prove it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.bounds import Bound
from clearance.frames import Array


@dataclass(frozen=True, kw_only=True)
class MotionState:
    """One pose of all motions. A value is None where that motion is not part of the pair.

    `roll_rad`, `travel_rad` in rad; `lift_mm`, `shift_mm`, `stroke_mm` in mm.
    """

    roll_rad: float | None = None
    lift_mm: float | None = None
    shift_mm: float | None = None
    travel_rad: float | None = None
    stroke_mm: float | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class Sweep:
    """Certified minimum clearance of a pair over its motion.

    Attributes
    ----------
    clearance : Bound
        Contains the true minimum, mm; negative is interference depth.
    worst : MotionState
        A pose at which `clearance.upper` is attained.
    on_part, on_zone : (3,) float64
        Witness points at that pose, given in the bay's frame at the neutral pose, mm.
    direction : (3,) float64
        Unit vector in which the part must move there to gain clearance, neutral pose.
    cells : (k, 2 a + 1) float64
        Cells [low angles rad, high angles rad, lower bound mm] that cover the whole box of `angles`: at every
        state with its angles in a cell, whatever the straight motions, the clearance is no less than its bound.
    angles : tuple of a names
        What the cells are cells of: of "roll", "travel", or a link's "link_a", "link_b"; none where nothing turns.
    link_axes : (2, 3) float64 or None
        Unit vectors, bay frame, along which a link's two angles are components of its rotation vector.
    evaluations : int
        Distance queries spent.
    contained : bool
        One body lies wholly inside the other somewhere in the motion.
    """

    clearance: Bound
    worst: MotionState
    on_part: Array
    on_zone: Array
    direction: Array
    cells: Array
    evaluations: int
    angles: tuple[str, ...] = ("roll",)
    contained: bool = False
    link_axes: Array | None = None


@dataclass(frozen=True, eq=False, kw_only=True)
class ClearanceField:
    """Smallest clearance of each point of a body to another body over the motion, for colours.

    Sampled, never decides a verdict. True minimum lies in [value - may_be_lower_mm, value].

    Attributes
    ----------
    values_mm : (n,) float64
        Clearance, mm; negative inside. Values at or above `cap_mm` mean "at least cap_mm".
    cap_mm : float
    may_be_lower_mm : float
        Farthest any point moves to its nearest sampled pose.
    """

    values_mm: NDArray[np.float64]
    cap_mm: float
    may_be_lower_mm: float
