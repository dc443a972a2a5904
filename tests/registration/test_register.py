"""Given poses, and settling on a scan, on a part whose true pose is known."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from clearance.errors import InputError
from clearance.job.schema import Landmark, Register, Turn
from clearance.registration.register import register
from clearance.scene.mesh import Mesh

JOB = Path("job.toml")


def _mesh(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))


@pytest.fixture(scope="module")
def elbow() -> Mesh:
    """Three cylinders of different length and direction, about 300 mm across: no symmetry."""
    parts = []
    for start, end, radius in [
        ((0, 0, 0), (200, 0, 0), 21),
        ((200, 0, 0), (200, 150, 40), 25),
        ((60, 0, 0), (60, -40, 120), 18),
    ]:
        parts.append(trimesh.creation.cylinder(radius=radius, segment=[start, end], sections=48))
    return _mesh(trimesh.util.concatenate(parts))


def _seen(part: Mesh, pose: np.ndarray, noise: float, seed: int) -> np.ndarray:
    """Points on the half of the part that faces +z +y, in the bay, with noise, and a wall behind it."""
    shape = trimesh.Trimesh(part.vertices, part.faces, process=False)
    points, face = trimesh.sample.sample_surface(shape, 40_000, seed=seed)
    facing = shape.face_normals[face] @ (0.3, 0.6, 0.74) > 0.2
    rng = np.random.default_rng(seed)
    points = points[facing] + rng.normal(0, noise, (int(facing.sum()), 3))
    wall = np.column_stack([rng.uniform(-100, 400, 20_000), np.full(20_000, -90.0), rng.uniform(-100, 200, 20_000)])
    return np.vstack([points, wall]) @ pose[:3, :3].T + pose[:3, 3]


def _true_pose() -> np.ndarray:
    pose = np.eye(4)
    pose[:3, :3] = Rotation.from_euler("xyz", [20, -35, 110], degrees=True).as_matrix()
    pose[:3, 3] = (500, -200, 900)
    return pose


def test_shift_after_turn(elbow):
    spec = Register(method="given", shift=(10, 0, 0), turn=Turn(axis=(0, 0, 2), degrees=90), sigma_shift=0.5)
    placed = register(spec, elbow, None, 0, 0, JOB)
    # Right-handed quarter turn about z takes +x to +y; then the shift.
    np.testing.assert_allclose(placed.T_bay_part.apply([1, 0, 0]), [10, 1, 0], atol=1e-12)
    assert placed.converged
    assert placed.sigma_mm(np.zeros(3), np.array([1.0, 0, 0])) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("rows", "telling"),
    [
        ([[2, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], "unit length"),
        ([[-1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]], "mirror"),
        ([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [5, 0, 0, 1]], "last row"),
    ],
)
def test_a_matrix_that_is_no_pose_is_refused(elbow, rows, telling):
    with pytest.raises(InputError, match=telling):
        register(Register(method="given", matrix=tuple(map(tuple, rows))), elbow, None, 0, 0, JOB)


def test_an_exact_pose_says_so(elbow):
    placed = register(Register(method="given", shift=(0, 0, 0)), elbow, None, 0, 0, JOB)
    assert any("taken as exact" in note for note in placed.notes)


@pytest.mark.parametrize("seed", [1, 2])
def test_refine_settles_on_the_true_pose(elbow, seed):
    pose = _true_pose()
    scan = _seen(elbow, pose, 0.3, seed)
    rng = np.random.default_rng(seed)
    studs = np.array([[0, 0, 0], [200, 150, 40], [60, -40, 120], [100, 0, 21]], float)
    picked = studs @ pose[:3, :3].T + pose[:3, 3] + rng.normal(0, 0.7, (4, 3))
    named = zip("abcd", studs, picked, strict=True)
    pairs = tuple(Landmark(name=name, part=tuple(p), bay=tuple(b)) for name, p, b in named)
    placed = register(Register(method="landmarks", pair=pairs, refine=True), elbow, scan, 0.05, 0.3, JOB)
    assert placed.converged, placed.notes
    off = placed.T_bay_part.apply(elbow.vertices) - (elbow.vertices @ pose[:3, :3].T + pose[:3, 3])
    assert np.linalg.norm(off, axis=1).max() < 0.1
    # The stated sigma covers what is left: no vertex off by more than four of its own sigmas.
    sigma = placed.largest_sigma_mm(placed.T_bay_part.apply(elbow.vertices))
    assert (np.linalg.norm(off, axis=1) < 4 * sigma).all()
    assert sigma.max() < 0.5


def test_refine_with_the_part_not_in_the_scan_proves_nothing(elbow):
    rng = np.random.default_rng(0)
    wall = np.column_stack([rng.uniform(-100, 400, 20_000), np.full(20_000, -90.0), rng.uniform(-100, 200, 20_000)])
    placed = register(Register(method="given", shift=(0, 0, 0), refine=True), elbow, wall, 0.1, 0.1, JOB)
    assert not placed.converged
    assert "leave refine out" in placed.notes[-1]


def test_a_plate_on_a_plane_may_slide():
    plate = _mesh(trimesh.creation.box((200, 100, 6)))
    u, v = np.meshgrid(np.arange(-300, 300, 2.0), np.arange(-300, 300, 2.0))
    floor = np.column_stack([u.ravel(), v.ravel(), np.full(u.size, 3.0)])
    floor += np.random.default_rng(0).normal(0, 0.1, floor.shape)
    spec = Register(method="given", shift=(0, 0, 0.5), sigma_shift=1, refine=True)
    placed = register(spec, plate, floor, 0.05, 0.1, JOB)
    assert not placed.converged
    assert any("sliding along" in note for note in placed.notes)


def test_refine_repeats_exactly(elbow):
    scan = _seen(elbow, _true_pose(), 0.3, 3)
    spec = Register(method="given", matrix=tuple(map(tuple, _true_pose())), sigma_shift=1, sigma_turn=0.3, refine=True)
    one, two = (register(spec, elbow, scan, 0.05, 0.3, JOB) for _ in range(2))
    np.testing.assert_allclose(one.T_bay_part.matrix, two.T_bay_part.matrix, atol=1e-6)
