"""A part whose true pose is known, and scans of it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from clearance.frames import Array, Pose, rigid
from clearance.scene.mesh import Mesh


@pytest.fixture(scope="session")
def elbow() -> Mesh:
    """Three pipes of different length and direction, about 300 mm across: no symmetry."""
    pipes = [((0, 0, 0), (200, 0, 0), 21), ((200, 0, 0), (200, 150, 40), 25), ((60, 0, 0), (60, -40, 120), 18)]
    shape = trimesh.util.concatenate(
        [trimesh.creation.cylinder(radius=radius, segment=[start, end], sections=48) for start, end, radius in pipes]
    )
    return Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))


@pytest.fixture(scope="session")
def true_pose() -> Pose:
    turn = Rotation.from_euler("xyz", [20, -35, 110], degrees=True).as_matrix()
    return rigid("bay", "part", turn, (500, -200, 900))


@pytest.fixture(scope="session")
def wall(true_pose: Pose) -> Array:
    """A wall in the bay 60 mm and more from the elbow."""
    rng = np.random.default_rng(0)
    return true_pose.apply(
        np.column_stack([rng.uniform(-100, 400, 20_000), np.full(20_000, -130.0), rng.uniform(-100, 200, 20_000)])
    )


@pytest.fixture(scope="session")
def scan_of(elbow: Mesh, true_pose: Pose, wall: Array) -> Callable[..., Array]:
    """Scan, bay frame, of the elbow's half that faces +z +y, with noise along the normal, before a wall."""
    shape = trimesh.Trimesh(elbow.vertices, elbow.faces, process=False)

    def scan(noise: float, seed: int, count: int = 40_000) -> Array:
        points, face = trimesh.sample.sample_surface(shape, count, seed=seed)
        normal = shape.face_normals[face]
        facing = normal @ (0.3, 0.6, 0.74) > 0.2
        off = np.random.default_rng(seed).normal(0, 1, int(facing.sum())) * noise
        return np.vstack([true_pose.apply(points[facing] + normal[facing] * off[:, None]), wall])

    return scan
