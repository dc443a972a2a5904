"""Which way of placing is taken, and what it hands on."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from clearance.errors import InputError
from clearance.job.schema import Landmark, Register
from clearance.registration.register import register

JOB = Path("job.toml")
STUDS = np.array([[0, 0, 0], [200, 150, 40], [60, -40, 120], [100, 0, 21]], float)


def _pairs(picked) -> tuple[Landmark, ...]:
    return tuple(
        Landmark(name=name, part=tuple(p), bay=tuple(b))
        for name, p, b in zip("abcd", STUDS.tolist(), picked.tolist(), strict=True)
    )


def test_given(elbow):
    placed = register(Register(method="given", shift=(1, 2, 3)), elbow, None, 0, 0, JOB)
    assert placed.method == "given"
    np.testing.assert_array_equal(placed.T_bay_part.translation, [1, 2, 3])


def test_landmarks_are_trusted_no_further_than_the_scan(elbow, true_pose):
    pairs = _pairs(true_pose.apply(STUDS))
    fine, rough = (
        register(Register(method="landmarks", pair=pairs), elbow, None, accuracy, noise, JOB)
        for accuracy, noise in ((0.0, 0.0), (0.3, 0.4))
    )
    assert fine.method == "landmarks"
    # Four points: each coordinate of their centroid has sigma / sqrt(4); picking alone is 0.1 mm.
    way = np.array([1.0, 0, 0])
    assert fine.sigma_mm(fine.centre, way) == pytest.approx(0.1 / 2)
    assert rough.sigma_mm(rough.centre, way) == pytest.approx(np.sqrt(0.3**2 + 0.4**2 + 0.1**2) / 2)


def test_landmarks_then_refine(elbow, true_pose, scan_of):
    picked = true_pose.apply(STUDS) + np.random.default_rng(1).normal(0, 0.7, (4, 3))
    spec = Register(method="landmarks", pair=_pairs(picked), refine=True)
    placed = register(spec, elbow, scan_of(0.3, 1), 0.05, 0.3, JOB)
    assert placed.converged, placed.notes
    assert placed.method == "landmarks+refine"
    assert [name for name, _ in placed.residuals] == list("abcd")
    off = placed.T_bay_part.apply(elbow.vertices) - true_pose.apply(elbow.vertices)
    assert np.linalg.norm(off, axis=1).max() < 0.1


def test_refine_needs_a_scan(elbow):
    with pytest.raises(InputError, match=r"register\.refine.*add \[bay\]"):
        register(Register(method="given", shift=(0, 0, 0), refine=True), elbow, None, 0, 0, JOB)


def test_datums_need_a_scan(elbow):
    spec = Register.model_validate({"method": "datums", "set": [{"part": "a", "bay": "b"}]})
    with pytest.raises(InputError, match=r"register\.method.*add \[bay\]"):
        register(spec, elbow, None, 0, 0, JOB)
