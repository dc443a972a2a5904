"""Rounding of bounds, and words for a pose."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.bounds import Bound
from clearance.motion.result import MotionState
from clearance.outputs.figures import at_least, at_most, direction, interval, pose_words


@given(st.floats(-1e5, 1e5))
def test_no_rounding_makes_a_bound_better(mm: float):
    slack = Decimal("1e-9")
    assert Decimal(at_least(mm)) <= Decimal(mm) + slack
    assert Decimal(at_most(mm)) >= Decimal(mm) - slack
    assert Decimal(at_most(mm)) - Decimal(at_least(mm)) <= Decimal("0.01")


@pytest.mark.parametrize(
    ("lower", "upper", "text"),
    [(19.996, 20.004, "19.99 to 20.01"), (-0.004, 0.0, "-0.01 to 0.00"), (8.29, 0.28 + 8.01, "8.29 to 8.29")],
)
def test_interval_is_rounded_outward(lower: float, upper: float, text: str):
    assert interval(Bound(min(lower, upper), max(lower, upper))) == text


def test_what_has_no_limit_is_said_so():
    assert at_most(math.inf) == "no limit"


def test_pose_names_only_what_moves():
    assert pose_words(MotionState()) == "nothing moves between them"
    half_turn = MotionState(roll_rad=math.pi, lift_mm=-2.0)
    assert pose_words(half_turn) == "roll +180.00°, lift -2.00 mm"


def test_a_direction_has_no_minus_before_a_zero():
    assert direction(np.array([-0.004, -0.974, 0.226])) == "[+0.00, -0.97, +0.23]"
