"""Parts found in a region of a scan without a first guess."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from clearance.errors import InputError
from clearance.frames import rigid
from clearance.job.where import Region
from clearance.registration.model import shape_model
from clearance.registration.shape import from_shape
from clearance.scene.mesh import Mesh

JOB = Path("job.toml")


def _region(pose, part: Mesh, radius: float) -> Region:
    at = pose.apply(part.vertices.mean(axis=0)) + np.array([20, -15, 25])
    return Region(center=tuple(at.tolist()), radius=radius)


def test_found_with_noise_and_a_wall(elbow, true_pose, scan_of):
    model = shape_model(elbow)
    eye = true_pose.apply(np.array([[400.0, 800, 900]]))
    placed = from_shape(_region(true_pose, elbow, 200), model, scan_of(0.3, 1), 0.3, 0.02, JOB, eye)
    off = np.linalg.norm(placed.T_bay_part.apply(elbow.vertices) - true_pose.apply(elbow.vertices), axis=1)
    # 0.2 mm is a fifth of what a fabricated part is true to.
    assert off.max() < 0.2
    assert placed.converged, placed.notes
    assert placed.runner_up_ratio < 0.75


def test_a_scan_without_the_part_is_not_accepted(elbow, true_pose, wall):
    rng = np.random.default_rng(3)
    boxes = [trimesh.creation.box(rng.uniform(30, 120, 3)) for _ in range(12)]
    points = np.concatenate(
        [
            trimesh.sample.sample_surface(box, 5000, seed=1)[0] + rng.uniform(-100, 100, 3) + (100, 50, 30)
            for box in boxes
        ]
    )
    scan = np.vstack([true_pose.apply(points), wall])
    placed = from_shape(_region(true_pose, elbow, 200), shape_model(elbow), scan, 0.3, 0.02, JOB)
    assert not placed.converged
    assert any(note.startswith("shape: ") for note in placed.notes[1:])


def test_a_box_fits_both_ways_round_and_both_are_named():
    box = trimesh.creation.box((300, 180, 90))
    part = Mesh(np.asarray(box.vertices, np.float64), np.asarray(box.faces, np.int64))
    pose = rigid("bay", "part", Rotation.from_euler("xyz", [20, 30, 40], degrees=True).as_matrix(), (100, 0, 50))
    points, face = trimesh.sample.sample_surface(box, 60_000, seed=2)
    seen = points[box.face_normals[face] @ (0.5, 0.5, 0.7) > 0]
    scan = pose.apply(seen + np.random.default_rng(0).normal(0, 0.2, seen.shape))
    eye = pose.apply(np.array([[500.0, 500, 700]]))
    placed = from_shape(_region(pose, part, 190), shape_model(part), scan, 0.2, 0.02, JOB, eye)
    assert not placed.converged
    assert any("ambiguous" in note and note.count("origin [") == 2 for note in placed.notes)
    assert placed.runner_up is not None
    assert placed.runner_up_ratio > 0.9


def test_an_empty_region_and_one_far_too_large(elbow, true_pose, wall):
    model = shape_model(elbow)
    with pytest.raises(InputError, match=r"register\.region: 0 scan points"):
        from_shape(Region(center=(0, 0, 9000), radius=150), model, wall, 0.3, 0.02, JOB)
    with pytest.raises(InputError, match=r"register\.region\.radius.*outnumber"):
        from_shape(Region(center=(0, 0, 0), radius=3000), model, wall, 0.3, 0.02, JOB)
