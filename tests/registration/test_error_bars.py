"""Stated sigmas of a refined pose against the true scatter over redrawn scans (scripts/error_bars.py)."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

SCRIPT = Path(__file__).resolve().parents[2] / "scripts" / "error_bars.py"


@pytest.fixture(scope="module")
def error_bars() -> ModuleType:
    spec = importlib.util.spec_from_file_location("error_bars", SCRIPT)
    module = importlib.util.module_from_spec(spec)
    sys.modules["error_bars"] = module
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("length_mm", [0.0, 15.0])
def test_sigmas_are_neither_small_nor_empty(error_bars, length_mm):
    scene = error_bars.trial(4000)
    _, ratio = error_bars.ratios(scene, 12, 0.4, length_mm, seed=3)
    # 12 draws of four places: a scatter of some 13 % of their rms. Sigmas a third as large would put it near 2,
    # three times as large near 0.25.
    assert error_bars.LEAST < np.sqrt((ratio**2).mean()) < error_bars.MOST
    # A single place of 12 draws scatters by 20 %.
    assert ratio.max() < 1.2 * error_bars.MOST
    assert ratio.min() > error_bars.LEAST / 1.4


@pytest.mark.parametrize("length_mm", [5.0, 40.0])
def test_noise_is_what_it_is_said_to_be(error_bars, length_mm):
    points = np.outer(np.arange(100) * length_mm, [1.0, 0, 0])
    fields = np.array([error_bars.noise(np.random.default_rng(k), points, 0.4, length_mm) for k in range(100)])
    # Some 5000 independent values.
    assert np.sqrt((fields**2).mean()) == pytest.approx(0.4, rel=0.05)
    # One length apart: exp(-1 / 2).
    assert (fields[:, 1:] * fields[:, :-1]).mean() / 0.16 == pytest.approx(np.exp(-0.5), abs=0.06)
