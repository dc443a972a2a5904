"""Settling on scans of a part whose true pose is known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh

from clearance.frames import Pose, rigid, rotation_about
from clearance.job.schema import Register
from clearance.registration.fine import refined
from clearance.registration.given import given
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh

JOB = Path("job.toml")


def _start(part: Mesh, pose: Pose, shift_mm: float, turn_deg: float, sigma_shift=1.0, sigma_turn=0.3) -> Registration:
    """A given pose that is off by `shift_mm` along each axis and by `turn_deg`."""
    turn = rotation_about((1, -2, 2), np.radians(turn_deg))
    centre = pose.apply(part.vertices.mean(axis=0))
    off = rigid("bay", "bay", turn, centre - turn @ centre + (shift_mm, -shift_mm, shift_mm)) @ pose
    rows = tuple(map(tuple, off.matrix.tolist()))
    spec = Register(method="given", matrix=rows, sigma_shift=sigma_shift, sigma_turn=sigma_turn)
    return given(spec, part, JOB)


def _off_mm(placed: Registration, pose: Pose, part: Mesh) -> np.ndarray:
    return np.linalg.norm(placed.T_bay_part.apply(part.vertices) - pose.apply(part.vertices), axis=1)


@pytest.mark.parametrize("seed", [1, 2])
def test_partly_seen_part_with_noise(elbow, true_pose, scan_of, seed):
    placed = refined(_start(elbow, true_pose, 1.5, 0.5), elbow, scan_of(0.3, seed), 0.02)
    assert placed.converged, placed.notes
    off = _off_mm(placed, true_pose, elbow)
    # 0.1 mm is a tenth of what a fabricated part is true to.
    assert off.max() < 0.1
    # No vertex is off by more than four of its own sigmas, and they are not so wide as to say nothing.
    sigma = placed.largest_sigma_mm(placed.T_bay_part.apply(elbow.vertices))
    assert (off < 4 * sigma).all()
    assert sigma.max() < 0.3
    assert placed.residual_rms_mm == pytest.approx(0.3, rel=0.1)


@pytest.mark.parametrize(("shift_mm", "turn_deg"), [(1.0, 0.3), (0.0, 0.0)])
def test_scan_without_noise_is_met_exactly(elbow, true_pose, scan_of, shift_mm, turn_deg):
    placed = refined(_start(elbow, true_pose, shift_mm, turn_deg), elbow, scan_of(0.0, 3), 0.0)
    assert placed.converged, placed.notes
    assert _off_mm(placed, true_pose, elbow).max() < 1e-3
    assert "100 % of those within 4 mm" in placed.notes[-1]


def test_a_small_patch_proves_nothing(elbow, true_pose, scan_of):
    scan = scan_of(0.1, 8)
    scan = scan[true_pose.inverse().apply(scan)[:, 2] > 70]  # one pipe's end
    placed = refined(_start(elbow, true_pose, 0.0, 0.0), elbow, scan, 0.1)
    assert not placed.converged
    assert "shows only" in placed.notes[-1]


def test_accuracy_of_the_scanner_is_never_lost(elbow, true_pose, scan_of):
    scan = scan_of(0.1, 4, 12_000)
    start = _start(elbow, true_pose, 0.5, 0.1)
    without, with_it = (refined(start, elbow, scan, accuracy).covariance for accuracy in (0.0, 0.4))
    np.testing.assert_allclose(with_it - without, np.diag([0, 0, 0, 0.16, 0.16, 0.16]), atol=1e-5)


def test_bay_scanned_without_the_part(elbow, true_pose, wall):
    start = _start(elbow, true_pose, 0.0, 0.0)
    placed = refined(start, elbow, wall, 0.1)
    assert not placed.converged
    assert placed.T_bay_part is start.T_bay_part
    assert "shows only 0 %" in placed.notes[-1]
    assert "leave refine out" in placed.notes[-1]


def test_no_points_at_all(elbow, true_pose):
    assert not refined(_start(elbow, true_pose, 0.0, 0.0), elbow, np.zeros((0, 3)), 0.1).converged


def test_clutter_in_the_place_of_the_part_proves_nothing(elbow, true_pose):
    rng = np.random.default_rng(1)
    low, high = elbow.vertices.min(axis=0) - 10, elbow.vertices.max(axis=0) + 10
    clutter = true_pose.apply(rng.uniform(low, high, (40_000, 3)))
    placed = refined(_start(elbow, true_pose, 0.0, 0.0), elbow, clutter, 0.1)
    assert not placed.converged
    assert any("something else stands in its place" in note for note in placed.notes)


def test_farther_than_the_first_placing_allows(elbow, true_pose, scan_of):
    start = _start(elbow, true_pose, 3.0, 0.0, sigma_shift=0.1, sigma_turn=0.01)
    placed = refined(start, elbow, scan_of(0.2, 5, 12_000), 0.05)
    assert not placed.converged
    assert "check the landmarks" in placed.notes[-1]
    # Off by 3 mm along each axis: sqrt(27) = 5.2 mm.
    assert "moved the part by 5.2 mm" in placed.notes[-1]


def test_a_start_that_was_unsound_stays_so(elbow, true_pose, scan_of):
    start = _start(elbow, true_pose, 0.5, 0.1)
    unsound = Registration(
        method="landmarks", T_bay_part=start.T_bay_part, covariance=start.covariance, centre=start.centre
    )
    assert not refined(unsound, elbow, scan_of(0.2, 6, 12_000), 0.05).converged


def test_a_plate_on_a_floor_may_slide():
    plate = trimesh.creation.box((200, 100, 6))
    part = Mesh(np.asarray(plate.vertices, np.float64), np.asarray(plate.faces, np.int64))
    u, v = np.meshgrid(np.arange(-140, 140, 2.0), np.arange(-90, 90, 2.0))
    floor = np.column_stack([u.ravel(), v.ravel(), np.full(u.size, 3.0)])
    floor += np.random.default_rng(0).normal(0, 0.1, floor.shape)
    spec = Register(method="given", shift=(0, 0, 0.5), sigma_shift=1)
    placed = refined(given(spec, part, JOB), part, floor, 0.05)
    assert not placed.converged
    free = [note for note in placed.notes if "does not fix" in note]
    assert len(free) == 3
    assert sum("sliding along" in note for note in free) == 2
    assert sum("turning about [0.00, 0.00, 1.00]" in note or "[0.00, 0.00, -1.00]" in note for note in free) == 1


def test_a_pipe_alone_may_slide_and_turn_about_its_axis():
    pipe = trimesh.creation.cylinder(radius=20, segment=[[50, 30, -150], [50, 30, 150]], sections=48)
    part = Mesh(np.asarray(pipe.vertices, np.float64), np.asarray(pipe.faces, np.int64))
    points, face = trimesh.sample.sample_surface(pipe, 20_000, seed=0)
    side = (np.abs(points[:, 2]) < 140) & (pipe.face_normals[face][:, 0] > -0.3)
    seen = points[side] + np.random.default_rng(0).normal(0, 0.1, (int(side.sum()), 3))
    spec = Register(method="given", shift=(0, 0, 0), sigma_shift=1)
    start = replace(given(spec, part, JOB), centre=np.array([50.0, 70, 0]))  # off the axis
    placed = refined(start, part, seen, 0.05)
    assert not placed.converged
    free = " ".join(note.replace("-1.00", "1.00") for note in placed.notes)
    assert "sliding along [0.00, 0.00, 1.00]" in free
    assert "turning about [0.00, 0.00, 1.00] through [50, 30, 0]" in free


def test_the_same_again(elbow, true_pose, scan_of):
    start, scan = _start(elbow, true_pose, 1.0, 0.3), scan_of(0.3, 7)
    one, two = (refined(start, elbow, scan, 0.05) for _ in range(2))
    # Sums in parallel differ in the last digits; stepping ends when it moves nothing by more than 1e-5 mm.
    assert (
        np.linalg.norm(one.T_bay_part.apply(elbow.vertices) - two.T_bay_part.apply(elbow.vertices), axis=1).max() < 1e-3
    )
    np.testing.assert_allclose(one.covariance, two.covariance, rtol=1e-2, atol=1e-9)


def test_errors_that_go_together_over_a_patch_are_covered(elbow, true_pose, scan_of):
    """Scan errors of 0.24 mm that go together over 15 mm beside white noise: a Hessian's sigma would be far low."""
    start, errors, sigmas = _start(elbow, true_pose, 0.3, 0.1), [], []
    for seed in range(5):
        rng = np.random.default_rng(seed)
        scan = scan_of(0.3, seed, 12_000)
        waves, phases = rng.normal(0, 1 / 15, (200, 3)), rng.uniform(0, 2 * np.pi, 200)
        scan[:, 1] += 0.24 * np.sqrt(2 / 200) * np.cos(scan @ waves.T + phases).sum(axis=1)
        placed = refined(start, elbow, scan, 0.0)
        assert placed.converged, placed.notes
        errors.append(_off_mm(placed, true_pose, elbow))
        sigmas.append(placed.largest_sigma_mm(placed.T_bay_part.apply(elbow.vertices)))
    share = np.array(errors) / np.array(sigmas)
    assert np.sqrt((share**2).mean()) < 1.5
    assert share.max() < 4
