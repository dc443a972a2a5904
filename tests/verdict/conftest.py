"""Small bodies and registrations by hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh

from clearance.frames import identity
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.scan import Scan
from clearance.scene.zone import Zone


def _mesh(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))


@pytest.fixture
def cube() -> Part:
    """20 mm cube about the origin, finely split, tolerance 0."""
    shape = trimesh.creation.box((20, 20, 20)).subdivide().subdivide().subdivide()
    mesh = _mesh(shape)
    return Part(name="cube.stl", mesh=mesh, shown=mesh, closed=True, rides="engine", tolerance_mm=0.0)


@pytest.fixture
def placed() -> Callable[..., Registration]:
    """Build a registration at identity with the given sigmas."""

    def build(sigma_mm: float = 0.0, sigma_rad: float = 0.0, converged: bool = True) -> Registration:
        return Registration(
            method="given",
            T_bay_part=identity("bay", "part"),
            converged=converged,
            covariance=np.diag([sigma_rad**2] * 3 + [sigma_mm**2] * 3),
            centre=np.zeros(3),
            notes=() if converged else ("landmark 'stud 2' is off by 9.1 mm",),
        )

    return build


@pytest.fixture
def wall() -> Callable[..., tuple[Zone, Scan]]:
    """Build a wall of scan points at x = `at`, pitch 1 mm, required gap `gap`."""

    def build(
        at: float, gap: float, noise: float = 0.0, accuracy: float = 0.0, spacing: float = 0.0
    ) -> tuple[Zone, Scan]:
        y, z = np.meshgrid(np.arange(-30, 31.0), np.arange(-30, 31.0))
        points = np.column_stack([np.full(y.size, at), y.ravel(), z.ravel()])
        near = np.full(len(points), spacing, np.float32)
        zone = Zone(
            name="wall", table="wall", kind="chassis", rides="chassis", gap_mm=gap,
            points=points, spacing_mm=near, stray_points=np.zeros((0, 3)),
        )  # fmt: skip
        scan = Scan(
            points=points, spacing_mm=near, stray=np.zeros(len(points), bool),
            noise_mm=noise, noise_measured=False, accuracy_mm=accuracy,
        )  # fmt: skip
        return zone, scan

    return build
