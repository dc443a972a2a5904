"""Given poses against hand-worked ones."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from clearance.errors import InputError
from clearance.job.schema import Register, Turn
from clearance.registration.given import given
from clearance.scene.mesh import Mesh

JOB = Path("job.toml")


def test_shift_after_turn(elbow):
    placed = given(Register(method="given", shift=(10, 0, 0), turn=Turn(axis=(0, 0, 2), degrees=90)), elbow, JOB)
    # Right-handed quarter turn about z takes +x to +y; then the shift.
    np.testing.assert_allclose(placed.T_bay_part.apply([1, 0, 0]), [10, 1, 0], atol=1e-12)
    assert placed.converged


@pytest.mark.parametrize(
    ("rows", "telling"),
    [
        ([[2, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], "unit length"),
        ([[-1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], "mirror"),
        ([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [5, 0, 0, 1]], "last row"),
        ([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 0, 0], [0, 0, 0, 1]], "unit length"),
    ],
)
def test_a_matrix_that_is_no_pose_is_refused(elbow, rows, telling):
    with pytest.raises(InputError, match=rf"job\.toml: register\.matrix: .*{telling}.*give 4 rows"):
        given(Register(method="given", matrix=tuple(map(tuple, rows))), elbow, JOB)


def test_an_exact_pose_says_so(elbow):
    placed = given(Register(method="given", shift=(0, 0, 0)), elbow, JOB)
    assert any("taken as exact" in note for note in placed.notes)
    assert (placed.covariance == 0).all()
    unsure = given(Register(method="given", shift=(0, 0, 0), sigma_turn=0.1), elbow, JOB)
    assert not unsure.notes


def test_sigmas_are_about_the_centroid_whatever_the_triangles():
    # Unit right triangle prism face: a square cut into two triangles, one of them cut again near a corner.
    corners = np.array([[0, 0, 0], [100, 0, 0], [100, 100, 0], [0, 100, 0], [99, 99, 0], [100, 99.5, 0]], float)
    faces = np.array([[0, 1, 5], [0, 5, 4], [4, 5, 2], [0, 4, 2], [0, 2, 3]])
    spec = Register(method="given", shift=(10, 20, 30), sigma_shift=0.5, sigma_turn=0.2)
    placed = given(spec, Mesh(corners, faces), JOB)
    np.testing.assert_allclose(placed.centre, [60, 70, 30], atol=1e-9)
    # 0.2 degrees at 300 mm off along x moves a point by 300 * 0.2 pi / 180 along y; sigmas add in quadrature.
    sigma = placed.sigma_mm(placed.centre + np.array([300, 0, 0]), np.array([0.0, 1, 0]))
    assert sigma == pytest.approx(np.hypot(0.5, 300 * 0.2 * np.pi / 180), rel=1e-12)
    assert placed.sigma_mm(placed.centre, np.array([0.0, 0, 1])) == pytest.approx(0.5)
