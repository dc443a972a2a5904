"""The budget's numbers against sampling of what it says of the world, and against JCGM 100's arithmetic."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from clearance.motion.pair import PairMotion
from clearance.verdict.conformance import combined, rectangular
from clearance.verdict.judge import judge_zone
from clearance.verdict.setting import Setting


def _judged(zone, part, registration, scan, confidence):
    setting = Setting(part=part, registration=registration, scan=scan, rock=None, growth=None, confidence=confidence)
    return judge_zone(zone, PairMotion(), setting)


def test_the_combined_uncertainty_is_that_of_sampled_errors(cube, wall, placed):
    """Wall at 20, face at 10: noise 0.3, accuracy 0.4, place 0.5 (1 sigma), tolerance ± 0.6 evenly: all along x."""
    zone, scan = wall(20.0, 5.0, noise=0.3, accuracy=0.4)
    result = _judged(zone, replace(cube, tolerance_mm=0.6), placed(sigma_mm=0.5), scan, 0.95)
    rng, n = np.random.default_rng(4), 200_000
    errors = sum(rng.normal(0, s, n) for s in (0.3, 0.4, 0.5)) + rng.uniform(-0.6, 0.6, n)
    assert result.budget.standard == pytest.approx(errors.std(), rel=0.01), "sampling error 0.2 %"
    short = np.mean(errors > result.budget.guard)
    assert short == pytest.approx(0.05, abs=0.003), "sampling error 0.0005; one flat term among four is nearly normal"


@pytest.mark.parametrize("confidence", [0.5, 0.95, 0.999])
def test_the_guard_follows_the_confidence(cube, wall, placed, confidence: float):
    zone, scan = wall(20.0, 5.0, noise=0.3)
    result = _judged(zone, cube, placed(), scan, confidence)
    assert result.budget.guard == pytest.approx(norm.ppf(confidence) * 0.3, abs=1e-9)


def test_nothing_uncertain_costs_nothing(cube, wall, placed):
    zone, scan = wall(20.0, 5.0)
    result = _judged(zone, cube, placed(), scan, 0.95)
    assert (result.budget.standard, result.budget.guard) == (0.0, 0.0)


def test_lines_add_up_as_squares(cube, wall, placed):
    """JCGM 100:2008, 5.1.2 and 4.3.7: 0.5^2 + 0.3^2 + 0.4^2 + 0.6^2 / 3 = 0.62."""
    assert combined([0.5, 0.3, 0.4, rectangular(0.6)]) ** 2 == pytest.approx(0.62, abs=1e-12)
    zone, scan = wall(20.0, 5.0, noise=0.3, accuracy=0.4)
    result = _judged(zone, replace(cube, tolerance_mm=0.6), placed(sigma_mm=0.5), scan, 0.95)
    assert result.budget.standard**2 == pytest.approx(0.62, abs=1e-9)
