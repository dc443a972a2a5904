"""Numbers as people read them: a bound is rounded outward, so that no rounding makes it look better than proven."""

from __future__ import annotations

import math
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from clearance.bounds import Bound
from clearance.frames import Array
from clearance.motion.result import MotionState
from clearance.units import degrees

HUNDREDTH = Decimal("0.01")


def at_least(mm: float) -> str:
    """Return a lower limit, mm, rounded down to 0.01."""
    return _rounded(mm, ROUND_FLOOR)


def at_most(mm: float) -> str:
    """Return an upper limit, mm, rounded up to 0.01."""
    return _rounded(mm, ROUND_CEILING)


def interval(bound: Bound) -> str:
    """Return both limits, rounded outward."""
    return f"{at_least(bound.lower)} to {at_most(bound.upper)}"


def direction(unit: Array) -> str:
    """Return a unit vector, (3,), to two decimals, without a minus before a zero."""
    return "[" + ", ".join(f"{round(float(x), 2) + 0.0:+.2f}" for x in unit) + "]"


def pose_words(state: MotionState) -> str:
    """Return a pose as words, degrees and mm; only what moves is named."""
    angles = (("roll", state.roll_rad), ("travel", state.travel_rad))
    lengths = (("lift", state.lift_mm), ("shift", state.shift_mm), ("stroke", state.stroke_mm))
    words = [f"{name} {degrees(angle):+.2f}°" for name, angle in angles if angle is not None]
    words += [f"{name} {mm:+.2f} mm" for name, mm in lengths if mm is not None]
    return ", ".join(words) or "nothing moves between them"


def _rounded(mm: float, way: str) -> str:
    if not math.isfinite(mm):
        return "no limit"
    return str(Decimal(repr(round(float(mm), 9))).quantize(HUNDREDTH, way) + 0)
