"""Shafts fitted again against the cylinders their points were made on."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from clearance.verify.claims import FitClaim
from clearance.verify.fitted import EXCESS_MM, heights, prism, refit
from clearance.verify.target import Target

TURN = Rotation.from_euler("xyz", [20, 30, 40], degrees=True)
SHIFT = np.array([50.0, -20, 300])
RADIUS, LENGTH, NOISE = 14.0, 180.0, 0.1


def _claim(off=(0.0, 0.0, 0.0), radius=RADIUS) -> FitClaim:
    ends = np.array([[0.0, 0, 0], [LENGTH, 0, 0]]) + off
    start, end = TURN.apply(ends) + SHIFT
    return FitClaim(from_mm=tuple(start), to_mm=tuple(end), radius_mm=radius, sigma_mm=0.1)


def _points(arc_deg=150.0, noise=NOISE, strewn=0) -> np.ndarray:
    rng = np.random.default_rng(6)
    x, a = np.meshgrid(np.arange(0, LENGTH + 1, 3.0), np.radians(np.arange(-arc_deg / 2, arc_deg / 2 + 0.1, 5)))
    r = RADIUS + rng.normal(0, noise, a.size)
    on = np.column_stack([x.ravel(), r * np.cos(a.ravel()), r * np.sin(a.ravel())])
    other = rng.uniform([0, 16, -20], [LENGTH, 40, 20], (strewn, 3))
    return TURN.apply(np.vstack([on, other])) + SHIFT


@pytest.mark.parametrize("off", [(0.0, 0.0, 0.0), (0.0, 0.4, -0.3), (0.0, -1.0, 0.0)])
def test_without_noise_the_true_cylinder_is_found_from_a_wrong_one(off):
    found = refit(_points(noise=0.0), _claim(off, RADIUS - 0.2), 0.0)
    # The claimed surface is off by the axis' offset and the radius' 0.2 mm.
    assert found.off_mm == pytest.approx(np.linalg.norm(off) + 0.2, abs=1e-6)


@pytest.mark.parametrize("strewn", [0, 300])
def test_with_noise_and_strewn_points_it_is_found_within_four_sigma(strewn):
    found = refit(_points(strewn=strewn), _claim((0, 0.3, 0)), NOISE)
    assert abs(found.off_mm - 0.3) < 4 * found.sigma_mm + 0.01
    assert found.noise_mm == pytest.approx(NOISE, rel=0.2)
    assert found.share > 0.8
    assert 0.004 < found.sigma_mm < 0.1


@pytest.mark.parametrize("arc", [70.0, 150.0, 300.0])
def test_the_round_that_is_seen_is_measured(arc):
    assert refit(_points(arc, noise=0.01), _claim(), 0.01).arc_deg == pytest.approx(arc, abs=1)


def test_the_prism_holds_the_cylinder_and_hardly_more():
    claim, rng = _claim(), np.random.default_rng(2)
    made = prism(claim)
    target = Target(made)
    angle, along = rng.uniform(0, 2 * np.pi, 3000), rng.uniform(0.01, LENGTH - 0.01, 3000)
    on = np.column_stack([along, RADIUS * np.cos(angle), RADIUS * np.sin(angle)])
    inside = TURN.apply(on * [1, 1 - 1e-9, 1 - 1e-9]) + SHIFT
    assert target.inside(inside).all()
    outside, places = heights(made.vertices, claim)
    assert outside.max() <= EXCESS_MM + 1e-9
    assert places.min() == pytest.approx(0, abs=1e-9)
    assert places.max() == pytest.approx(LENGTH, abs=1e-9)
