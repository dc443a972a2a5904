"""The search on functions whose minima are known."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.motion.branch import minimise


def tip_past_wall(rho: float, phi0_deg: float, wall: float, half_deg: float = 5.0):
    """Gap of a point on radius `rho` to a wall at `wall` from the axis, phi0 from the wall's normal."""
    phi0, half = np.radians([phi0_deg, half_deg])
    asked: list[float] = []

    def gap(at):
        asked.append(float(at[0]))
        return wall - rho * np.cos(phi0 + at[0])

    fall = lambda width: 2 * rho * np.sin(width / 2)  # noqa: E731
    return gap, fall, np.array([-half]), np.array([half]), asked


@pytest.mark.parametrize(("phi0", "wanted"), [(3.0, 5.0), (10.0, 305 - 300 * np.cos(np.radians(5.0)))])
def test_rotation_past_a_wall(phi0, wanted):
    """d - rho where the tip passes the wall's normal, else at the nearer end of the roll."""
    gap, fall, low, high, asked = tip_past_wall(300.0, phi0, 305.0)
    found = minimise(gap, fall, low, high, 1e-3)
    assert found.bound.lower <= wanted <= found.bound.upper
    assert found.bound.width <= 1e-3
    assert gap(found.best) == found.bound.upper
    assert found.evaluations == len(asked) - 1
    if phi0 == 3.0:  # Ends and rest alone say 5.183: unsafe by 0.183 mm.
        assert min(gap(low), gap(high), gap(np.zeros(1))) == pytest.approx(5.182752, abs=1e-6)


@pytest.mark.parametrize(("wanted", "kept"), [(4.9, True), (5.1, False)])
def test_a_search_for_what_is_wanted_ends_as_soon_as_it_is_told(wanted, kept):
    """The least is 5.0, where the tip passes the wall's normal; 0.1 either side is told long before 1e-6 is."""
    gap, fall, low, high, asked = tip_past_wall(300.0, 3.0, 305.0)
    told = minimise(gap, fall, low, high, 1e-6, wanted_mm=wanted)
    assert bool(told.bound.lower >= wanted) is kept
    assert bool(told.bound.upper < wanted) is not kept
    assert told.bound.lower <= 5.0 <= told.bound.upper
    few = len(asked)
    minimise(gap, fall, low, high, 1e-6)
    assert few < (len(asked) - few) / 2


@pytest.mark.parametrize("step_deg", [1.0, 2.0, 5.0])
def test_even_sampling_misses_what_the_search_does_not(step_deg):
    """Worst miss of even steps at a pass-through is rho (1 - cos(step / 2))."""
    rho, step = 300.0, np.radians(step_deg)
    gap, fall, low, high, _ = tip_past_wall(rho, step_deg / 2, 305.0, half_deg=10.0)
    sampled = min(gap(np.array([a])) for a in np.arange(-4, 4.1) * step)
    assert sampled - 5.0 == pytest.approx(rho * (1 - np.cos(step / 2)), abs=1e-9)
    found = minimise(gap, fall, low, high, 1e-3)
    assert found.bound.lower <= 5.0 < sampled - 0.01 + 1e-3


def test_cells_cover_the_box_and_hold_their_lower_bounds():
    rng = np.random.default_rng(0)
    centre = np.array([0.3, -0.4])
    value = lambda at: 0.1 + float(np.abs(at - centre) @ [3.0, 2.0])  # noqa: E731
    low, high = np.array([-1.0, -1]), np.array([1.0, 2])
    found = minimise(value, lambda half: half * [3.0, 2.0], low, high, 0.01)
    assert found.bound.contains(0.1)
    corner, far, floor = found.cells[:, :2], found.cells[:, 2:4], found.cells[:, 4]
    assert np.prod(far - corner, axis=1).sum() == pytest.approx(6.0)
    assert floor.min() == found.bound.lower
    for at in rng.uniform(low, high, (500, 2)):
        within = ((at >= corner) & (at <= far)).all(axis=1)
        assert within.any()
        assert value(at) >= floor[within].max()


def test_box_without_width():
    found = minimise(lambda at: 7.0 + at[0], lambda half: half * 100, np.array([0.5]), np.array([0.5]), 0.02)
    assert (found.evaluations, found.bound.upper) == (1, 7.5)
    assert 7.5 - 1e-6 <= found.bound.lower <= 7.5


def test_touching_ends_the_search_and_excess_is_taken_off():
    value = lambda at: abs(float(at[0]) - 0.1)  # noqa: E731
    found = minimise(value, lambda half: half, np.array([-1.0]), np.array([1.0]), 1e-3)
    assert found.bound.upper <= 1e-6
    kept = minimise(lambda at: 5.0, lambda half: 0 * half, np.array([0.0]), np.array([1.0]), 1e-3, excess_mm=1e-4)
    assert kept.bound.lower == pytest.approx(5.0 - 1e-4, abs=1e-8)
    near = minimise(lambda at: 5e-5, lambda half: 0 * half, np.zeros(1), np.ones(1), 1e-3, excess_mm=1e-4)
    assert near.evaluations == 1


def test_giving_up_leaves_a_true_if_wide_bound():
    gap, fall, low, high, _ = tip_past_wall(300.0, 3.0, 305.0)
    found = minimise(gap, fall, low, high, 1e-6, max_evaluations=9)
    assert found.evaluations <= 11
    assert found.bound.lower < 5.0 <= found.bound.upper
    assert found.bound.width > 1e-3
