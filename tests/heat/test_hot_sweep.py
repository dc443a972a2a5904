"""The search over growth factors against closed forms and dense grids. Lengths in mm."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.bounds import Bound
from clearance.heat.hot_sweep import MOST_SWEEPS, ROUNDING_MM, least_between, sweep_hot
from clearance.motion.result import MotionState, Sweep

UP = np.array([0.0, 0.0, 1.0])


def found(lower: float, upper: float) -> Sweep:
    return Sweep(clearance=Bound(lower, upper), worst=MotionState(), on_part=UP, on_zone=0 * UP, direction=UP,
                 cells=np.zeros((0, 3)), evaluations=1)  # fmt: skip


class Asked:
    """A clearance as a function of the factor, known to `below` and `above` of itself; counts what it is asked."""

    def __init__(self, clearance, below=0.0, above=0.0):
        self.clearance, self.below, self.above, self.factors = clearance, below, above, []

    def __call__(self, factor: float) -> Sweep:
        self.factors.append(factor)
        at = float(self.clearance(factor))
        return found(at - self.below, at + self.above)


def test_growth_straight_at_a_wall_needs_the_two_ends_alone():
    """A tip 300 from the anchor, a wall 310 from it: 310 - 300 k falls as fast as it can."""
    asked = Asked(lambda k: 310 - 300 * k)
    answer = sweep_hot(asked, 1.0, 1.00864, 300.0)
    assert len(asked.factors) == 2
    assert answer.clearance.contains(10 - 2.592)
    assert answer.clearance.width < 1e-6
    assert answer.hot
    assert answer.factor == 1.00864


def test_a_low_between_the_ends_is_found():
    """A tip that passes under a bump: 2 + |x - 301.3| at x = 300 k; both ends say more than 3."""
    asked = Asked(lambda k: 2 + abs(300 * k - 301.3))
    answer = sweep_hot(asked, 1.0, 1.01, 300.0)
    assert min(asked(1.0).clearance.upper, asked(1.01).clearance.upper) > 3.2
    assert answer.clearance.contains(2.0)
    assert answer.clearance.width <= 0.05
    assert abs(300 * answer.factor - 301.3) <= 0.05
    assert not answer.hot


def test_two_sweeps_only_give_an_honest_wide_bound():
    """A flat clearance of 5, a radius of 300, 1 % growth: all that the ends prove is 5 - 300 * 0.01 / 2."""
    answer = sweep_hot(Asked(lambda k: 5.0), 1.0, 1.01, 300.0, most_sweeps=2)
    assert answer.clearance.lower == pytest.approx(3.5, abs=1e-6)
    assert answer.clearance.upper == 5.0


def test_a_floor_known_beforehand_spares_the_search():
    asked = Asked(lambda k: 5.0)
    answer = sweep_hot(asked, 1.0, 1.01, 300.0, floor_mm=4.97)
    assert answer.clearance == Bound(4.97, 5.0)
    assert len(asked.factors) == 2


def test_factors_asked_first_are_asked():
    asked = Asked(lambda k: 2 + abs(300 * k - 301.3))
    answer = sweep_hot(asked, 1.0, 1.01, 300.0, floor_mm=1.99, first=(301.3 / 300,))
    assert asked.factors == [1.0, 1.01, 301.3 / 300]
    assert answer.clearance.upper == pytest.approx(2.0, abs=1e-9)


def test_bodies_that_meet_are_not_searched_further():
    asked = Asked(lambda k: 2 - 300 * (k - 1))
    answer = sweep_hot(asked, 1.0, 1.01, 500.0)
    assert len(asked.factors) == 2
    assert answer.clearance.upper == pytest.approx(-1.0)
    assert answer.clearance.lower <= -1.0


def test_no_growth_is_one_sweep():
    asked = Asked(lambda k: 4.0, below=0.01)
    answer = sweep_hot(asked, 1.0, 1.0, 300.0)
    assert asked.factors == [1.0]
    assert answer.clearance == Bound(3.99, 4.0)
    assert not answer.hot


def test_ends_the_wrong_way_round_are_refused():
    with pytest.raises(ValueError, match="above"):
        sweep_hot(Asked(lambda k: 4.0), 1.01, 1.0, 300.0)


@given(
    bumps=st.lists(
        st.tuples(st.floats(0.99, 1.03), st.floats(0.0, 20.0), st.floats(-1.0, 1.0)), min_size=1, max_size=6
    ),
    radius=st.floats(1.0, 600.0),
    span=st.tuples(st.floats(0.99, 1.0), st.floats(1.0, 1.03)),
    widths=st.tuples(st.floats(0.0, 0.2), st.floats(0.0, 0.2)),
    most=st.integers(2, 40),
)
def test_the_bound_holds_the_least_of_a_dense_grid(bumps, radius, span, widths, most):
    """Any lower envelope of lines no steeper than the radius is such a clearance; sweeps know it to +- some width."""
    kinks = np.array(bumps)

    def clearance(k):
        return np.min(kinks[:, 1] + radius * kinks[:, 2] * np.abs(np.atleast_1d(k)[:, None] - kinks[:, 0]), axis=1)

    asked = Asked(lambda k: clearance(k)[0], *widths)
    answer = sweep_hot(asked, *span, radius, 0.05, most_sweeps=most)
    grid = np.concatenate([np.linspace(*span, 4001), np.clip(kinks[:, 0], *span)])
    least = clearance(grid).min()
    assert answer.clearance.lower <= least + 1e-9
    assert answer.clearance.upper >= least
    assert len(asked.factors) <= max(most, 2)
    assert least_between(answer.certificate, radius) == pytest.approx(answer.clearance.lower, abs=1e-9)
    assert answer.certificate[0][0] == span[0]
    assert answer.certificate[-1][0] == span[1]
    cost = radius * (span[1] - span[0]) / 2
    assert answer.clearance.lower >= min(s.clearance.lower for _, s in answer.certificate) - cost - 2 * ROUNDING_MM


@given(slope=st.floats(-1.0, 1.0), radius=st.floats(1.0, 400.0))
def test_a_steady_clearance_is_bounded_tightly_in_the_sweeps_allowed(slope, radius):
    """Over 1 % of growth about as many sweeps are needed as growth goes into twice the tolerance."""
    answer = sweep_hot(Asked(lambda k: 20 + slope * radius * (k - 1), below=0.01), 1.0, 1.01, radius, 0.05)
    spent = len(answer.certificate)
    assert answer.clearance.width <= 0.05 or spent == MOST_SWEEPS
    if radius * 0.01 <= 0.08 * (MOST_SWEEPS - 1) / 2:
        assert answer.clearance.width <= 0.05
