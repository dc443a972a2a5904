"""Worked examples of the GUM (JCGM 100:2008) and of JCGM 106:2012 through the program's own functions.

Inputs of JCGM 106's examples 7.3.2, 7.3.3 and of its section 8 are from memory, the results follow from them.
"""

from __future__ import annotations

import math
from dataclasses import fields

import numpy as np
import pytest
from scipy.stats import t

from clearance.bounds import Bound
from clearance.verdict.conformance import (
    combined,
    conformance_probability,
    effective_freedom,
    guard_factor,
    rectangular,
)
from clearance.verdict.decide import decide_zone
from clearance.verdict.result import Budget


def _budget(u: float, confidence: float) -> Budget:
    guard = guard_factor(confidence) * u
    lines = {line.name: 0.0 for line in fields(Budget)}
    return Budget(**(lines | {"registration": u, "standard": u, "guard": guard}))


@pytest.mark.parametrize(("confidence", "k"), [(0.95, 1.644854), (0.975, 1.959964), (0.999, 3.090232)])
def test_normal_quantiles(confidence: float, k: float):
    """Any table of the standard normal distribution, six decimals."""
    assert guard_factor(confidence) == pytest.approx(k, abs=5e-7)


@pytest.mark.parametrize(
    ("measured", "u", "limits", "probability", "printed"),
    [
        (13.6, 1.8, (12.5, 16.3), 0.66263, "0.66"),  # 7.4, kinematic viscosity of a motor oil, mm2/s
        (509.7, 8.6, (490.0, math.inf), 0.98901, "0.99"),  # 7.3.2, breaking strength, kPa
        (-5.47, 0.05, (-math.inf, -5.40), 0.91924, "0.92"),  # 7.3.3, breakdown voltage, V
    ],
)
def test_conformance_probability_of_jcgm_106(measured, u, limits, probability, printed):
    found = conformance_probability(measured, u, *limits)
    assert found == pytest.approx(probability, abs=6e-6)
    assert f"{found:.2f}" == printed


def test_speed_law_of_jcgm_106_section_8(placed):
    """100 km/h, u = 2 % of the reading, 99.9 %: accused from 106.588 (printed 107: the next whole number)."""
    accused = 100 / (1 - 0.02 * 3.090232)
    assert accused == pytest.approx(106.588, abs=5e-4)
    assert conformance_probability(accused, 0.02 * accused, lower=100.0) == pytest.approx(0.999, abs=1e-7)
    verdicts = [
        decide_zone(Bound(v, v), 100.0, _budget(0.02 * v, 0.999), placed())[0].value for v in (106, accused + 1e-4, 107)
    ]
    assert verdicts == ["undecided", "pass", "pass"]


@pytest.mark.parametrize(
    ("measured", "verdict"),
    [(5.658, "pass"), (5.657, "undecided"), (5.50, "undecided"), (4.343, "undecided"), (4.34, "fail")],
)
def test_a_clearance_of_five_is_decided_by_its_conformance_probability(placed, measured: float, verdict: str):
    """Required 5.00 mm, u 0.40 mm, 95 %: from 5 + 1.644854 x 0.4 = 5.65794, to 4.34206."""
    found, _ = decide_zone(Bound(measured, measured), 5.0, _budget(0.40, 0.95), placed())
    conforms = conformance_probability(measured, 0.40, lower=5.0)
    assert found.value == verdict
    assert verdict == ("pass" if conforms >= 0.95 else "fail" if 1 - conforms > 0.95 else "undecided")


def test_half_a_millimetre_over_five_is_not_proven():
    """Phi(0.5 / 0.4) = Phi(1.25) = 0.89435 in any table."""
    assert conformance_probability(5.50, 0.40, lower=5.0) == pytest.approx(0.89435, abs=5e-6)


END_GAUGE_NM = ((25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0))
"""GUM H.1: u(standard), u(difference), l_s theta u(expansion), l_s alpha u(temperature difference); their freedom."""


def test_end_gauge_of_gum_h1():
    u, freedom = combined(c for c, _ in END_GAUGE_NM), effective_freedom(END_GAUGE_NM)
    assert u**2 == pytest.approx(1002, abs=2), "printed u_c^2 = 1002 nm2, from terms rounded to 0.1 nm"
    assert round(u) == 32
    assert freedom == pytest.approx(16.7, abs=0.1), "printed 16.7, from terms rounded to 0.1 nm"
    expanded = t.ppf(0.995, math.floor(freedom)) * u
    assert t.ppf(0.995, 16) == pytest.approx(2.92, abs=5e-3)
    assert expanded == pytest.approx(93, abs=0.6), "printed U99 = 93 nm, with u_c rounded to 32 nm"


def test_first_order_drops_a_term_where_its_coefficient_is_nil():
    """GUM H.1.7: l_s u(d_alpha) u(theta) = 11.7 nm is second order, so u_c is 34 nm, not 32.

    l = l_s + d - l_s (d_alpha theta + alpha d_theta) with d_alpha = 0: c_theta = -l_s d_alpha = 0, so u(theta) =
    0.41 K, five times its mean of -0.1 K, does nothing at first order. Sampled with l_s = 50 mm, the other terms out.
    """
    length_nm, u_expansion, u_theta, theta = 50e6, 0.58e-6, 0.41, -0.1
    rng = np.random.default_rng(1)
    samples = -length_nm * rng.normal(0, u_expansion, 400_000) * rng.normal(theta, u_theta, 400_000)
    first = combined([length_nm * u_expansion * theta, 0.0 * u_theta])
    second = length_nm * u_expansion * u_theta
    assert first == pytest.approx(2.9, abs=0.05)
    assert second == pytest.approx(11.7, abs=0.25), "printed 11.7 nm; u(theta) given to two digits"
    assert samples.std() == pytest.approx(combined([first, second]), rel=0.01), "sampling error 0.3 %"
    assert samples.std() > 4 * first
    spread = combined([*(c for c, _ in END_GAUGE_NM), second, 1.7])
    assert round(spread) == 34


def test_rectangular_and_coverage():
    """JCGM 100:2008 4.3.7: a / sqrt(3), against sampling; k = 2 covers 95.45 % (G.1.3)."""
    flat = np.random.default_rng(2).uniform(-0.3, 0.3, 400_000)
    assert rectangular(0.3) == pytest.approx(flat.std(), rel=5e-3), "sampling error 0.1 %"
    assert conformance_probability(0.0, 1.0, -2.0, 2.0) == pytest.approx(0.9545, abs=5e-5)
