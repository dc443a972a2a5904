"""decide_zone is guarded acceptance and rejection, said in conformance probabilities (JCGM 106:2012, 7 and 8)."""

from __future__ import annotations

from dataclasses import fields

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.stats import norm

from clearance.bounds import Bound
from clearance.frames import identity
from clearance.registration.result import Registration
from clearance.verdict.conformance import guard_factor
from clearance.verdict.decide import decide_zone
from clearance.verdict.result import Budget, Verdict

SURE = Registration(
    method="given",
    T_bay_part=identity("bay", "part"),
    converged=True,
    covariance=np.zeros((6, 6)),
    centre=np.zeros(3),
)


def _budget(u: float, confidence: float, spacing: float = 0.0) -> Budget:
    guard = guard_factor(confidence) * u + spacing
    lines = {line.name: 0.0 for line in fields(Budget)}
    return Budget(**(lines | {"noise": u, "spacing": spacing, "standard": u, "guard": guard}))


@given(
    st.floats(-5, 30), st.floats(0, 1), st.floats(0, 10), st.floats(0.001, 2), st.floats(0, 3), st.floats(0.5, 0.999)
)
def test_the_verdict_is_what_the_probabilities_say(lower, width, gap, u, spacing, confidence):
    verdict, _ = decide_zone(Bound(lower, lower + width), gap, _budget(u, confidence, spacing), SURE)
    conforms = norm.sf((gap - (lower - spacing)) / u)
    falls_short = norm.cdf((gap - (lower + width)) / u)
    assume(min(abs(conforms - confidence), abs(falls_short - confidence)) > 1e-9)
    expected = Verdict.PASS if conforms > confidence else Verdict.FAIL if falls_short > confidence else None
    assert verdict is (expected or Verdict.UNDECIDED)


@pytest.mark.parametrize("confidence", [0.5, 0.9, 0.95, 0.999])
def test_wrong_passes_are_no_more_than_the_confidence_allows(confidence: float):
    """Sampled: true gaps just short of what is required pass in at most 1 - confidence of measurements."""
    rng, u, gap = np.random.default_rng(3), 0.4, 5.0
    passes = [
        decide_zone(Bound(y, y), gap, _budget(u, confidence), SURE)[0] is Verdict.PASS
        for y in rng.normal(gap - 1e-6, u, 20_000)
    ]
    sampling = 4 * np.sqrt(confidence * (1 - confidence) / 20_000)
    assert abs(np.mean(passes) - (1 - confidence)) <= sampling


def test_a_hidden_surface_guards_a_pass_alone():
    """A surface between the points can only be nearer: 1 mm of spacing keeps 5.9 mm from passing, 4 mm still fails."""
    budget = _budget(0.1, 0.95, spacing=1.0)
    found = [decide_zone(Bound(c, c), 5.0, budget, SURE)[0].value for c in (6.2, 5.9, 4.0)]
    assert found == ["pass", "undecided", "fail"]
