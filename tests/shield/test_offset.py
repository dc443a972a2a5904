"""The surface at a standoff against the closed forms of offset bodies."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from shield_scenes import away_from, mesh_of

from clearance.distance.inside import Surface
from clearance.scene.mesh import Mesh
from clearance.shield.offset import NEARER_MM, drawn_smooth, level_surface

STANDOFF, GRID = 12.0, 2.0

SHAPES = {
    # Steiner's formula: the area of a convex body's offset is area + 2 s x (integral of mean curvature) + 4 pi s²;
    # the integral is, for a ball, 4 pi r, for a box, pi (a + b + c), for a cylinder, pi h + pi² r.
    "ball": (trimesh.creation.icosphere(subdivisions=3, radius=30.0), 4 * np.pi * 42.0**2),
    "box": (
        trimesh.creation.box((40.0, 50.0, 30.0)),
        2 * (2000 + 1200 + 1500) + 2 * STANDOFF * np.pi * 120.0 + 4 * np.pi * STANDOFF**2,
    ),
    "cylinder": (
        trimesh.creation.cylinder(radius=20.0, height=80.0, sections=128),
        2 * np.pi * 400 + 2 * np.pi * 20 * 80
        + 2 * STANDOFF * (np.pi * 80.0 + np.pi**2 * 20.0) + 4 * np.pi * STANDOFF**2,
    ),
}  # fmt: skip


def _levelled(part: Mesh) -> Mesh:
    low, high = part.vertices.min(axis=0) - 16, part.vertices.max(axis=0) + 16
    return level_surface(Surface(part), low, high, STANDOFF, GRID).mesh


def _samples(mesh: Mesh) -> np.ndarray:
    return trimesh.sample.sample_surface(trimesh.Trimesh(mesh.vertices, mesh.faces), 1500, seed=1)[0]


@pytest.mark.parametrize("name", SHAPES)
def test_area_of_convex_bodies_offset_is_steiners(name: str):
    shape, area = SHAPES[name]
    smooth, _ = drawn_smooth(_levelled(mesh_of(shape)), mesh_of(shape), STANDOFF)
    drawn = trimesh.Trimesh(smooth.vertices, smooth.faces, process=False)
    assert drawn.is_watertight
    # 0.5 %: facets of 2 to 3 mm on radii of 12 mm and more, and of the bodies themselves.
    assert drawn.area == pytest.approx(area, rel=0.005)
    assert drawn.volume > shape.volume  # turned outward


@pytest.mark.parametrize("name", SHAPES)
def test_it_is_nowhere_nearer_than_stated_and_convex_bodies_nowhere_much_farther(name: str):
    shape, _ = SHAPES[name]
    smooth, measured = drawn_smooth(_levelled(mesh_of(shape)), mesh_of(shape), STANDOFF)
    distance = away_from(mesh_of(shape), _samples(smooth))
    assert measured >= STANDOFF - NEARER_MM
    assert distance.min() >= measured - 1e-6
    assert distance.max() <= STANDOFF + 2 * NEARER_MM


def test_a_crease_is_bridged_and_never_nearer():
    # Two blocks at a right angle: the offset of the meshes would cut through itself in the corner.
    shape = trimesh.boolean.union(
        [
            trimesh.creation.box(bounds=[[0, 0, 0], [80, 60, 10]]),
            trimesh.creation.box(bounds=[[0, 0, 0], [10, 60, 80]]),
        ],
        engine="manifold",
    )
    smooth, _ = drawn_smooth(_levelled(mesh_of(shape)), mesh_of(shape), STANDOFF)
    samples = _samples(smooth)
    assert away_from(mesh_of(shape), samples).min() >= STANDOFF - NEARER_MM - 1e-6
    x, y, z = samples.T
    inner = samples[(x > 15) & (x < 70) & (z > 15) & (z < 70) & (np.abs(y - 30) < 20)]
    # The sharp line where both offsets meet is (22, y, 22); smoothing leaves it by less than two grid steps.
    assert np.abs(np.minimum(inner[:, 0], inner[:, 2]) - 22.0).max() < 2 * GRID
    assert np.hypot(inner[:, 0] - 22, inner[:, 2] - 22).min() < 2 * GRID


def test_a_grid_too_fine_is_refused():
    part = mesh_of(SHAPES["box"][0])
    with pytest.raises(ValueError, match="too many points"):
        level_surface(Surface(part), np.full(3, -900.0), np.full(3, 900.0), STANDOFF, 0.5)
