"""Edges of the conformance formulas; published examples are in test_published."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.verdict.conformance import conformance_probability, effective_freedom, guard_factor


def test_a_known_value_conforms_or_does_not():
    assert conformance_probability(5.0, 0.0, lower=5.0) == 1.0
    assert conformance_probability(np.nextafter(5.0, 0), 0.0, lower=5.0) == 0.0


@given(st.floats(-9, 9), st.floats(0.01, 3), st.floats(-9, 9), st.floats(0, 9))
def test_either_side_and_between_make_a_whole(measured, u, lower, width):
    upper = lower + width
    parts = (
        conformance_probability(measured, u, upper=lower),
        conformance_probability(measured, u, lower, upper),
        conformance_probability(measured, u, lower=upper),
    )
    assert sum(parts) == pytest.approx(1, abs=1e-12)
    assert all(0 <= p <= 1 for p in parts)


@pytest.mark.parametrize("side", [1, -1])
def test_far_tails_keep_their_digits(side: int):
    """Upper tail of the normal at 10 sigma: 7.61985e-24 (Abramowitz and Stegun 1964, table 26.1, 26.2.12)."""
    limits = (10.0, math.inf) if side > 0 else (-math.inf, -10.0)
    assert conformance_probability(0.0, 1.0, *limits) == pytest.approx(7.61985e-24, rel=1e-5)
    near, far = (10.0, 11.0) if side > 0 else (-11.0, -10.0)
    assert conformance_probability(0.0, 1.0, near, far) == pytest.approx(7.61985e-24, rel=1e-4)


@given(st.floats(0.5, 0.9999), st.floats(0.01, 5))
def test_a_value_one_guard_inside_conforms_with_the_confidence(confidence, u):
    assert conformance_probability(5 + guard_factor(confidence) * u, u, lower=5) == pytest.approx(confidence, abs=1e-9)


def test_one_component_keeps_its_own_freedom():
    assert effective_freedom([(0.3, 7.0)]) == pytest.approx(7.0)
    assert effective_freedom([(0.3, math.inf), (0.4, math.inf)]) == math.inf
    assert effective_freedom([(1.0, 5.0), (1.0, 5.0)]) == pytest.approx(10.0), "two alike: the freedoms add up"


@pytest.mark.parametrize("fault", [(math.nan, 1.0), (1.0, math.nan), (1.0, -0.1), (1.0, math.inf)])
def test_nonsense_is_refused(fault):
    with pytest.raises(ValueError, match="finite"):
        conformance_probability(*fault, lower=0.0)
