"""Primitive meshes hold the true body and stand outside it by no more than they say."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from clearance.job.where import Box, Rod, Sphere, Where
from clearance.scene.primitives import inside_of, solid_mesh

WHERES = {
    "box": Where(box=Box(min=(-5, 0, 2), max=(10, 7, 30)), solid=True),
    "cylinder": Where(cylinder=Rod(**{"from": (1, 2, 3), "to": (40, -20, 9)}, diameter=25), solid=True),
    "capsule": Where(capsule=Rod(**{"from": (1, 2, 3), "to": (1, 2, 60)}, diameter=25), solid=True),
    "sphere": Where(sphere=Sphere(center=(4, 5, 6), diameter=30), solid=True),
}


def _volume(where: Where) -> float:
    """Closed forms, mm3."""
    if where.box:
        return float(np.prod(np.subtract(where.box.max, where.box.min)))
    rod = where.cylinder or where.capsule
    r = (rod or where.sphere).diameter / 2
    length = float(np.linalg.norm(np.subtract(rod.to, rod.from_))) if rod else 0.0
    return np.pi * r**2 * length + (0 if where.cylinder else 4 / 3 * np.pi * r**3)


@pytest.mark.parametrize("name", WHERES)
def test_closed_outward_and_volume(name: str):
    where = WHERES[name]
    mesh, outside = solid_mesh(where)
    shape = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    assert shape.is_watertight
    assert shape.is_winding_consistent
    assert _volume(where) <= shape.volume * (1 + 1e-12)
    assert shape.volume <= _volume(where) + shape.area * outside + 1e-6


@pytest.mark.parametrize("name", WHERES)
def test_every_true_surface_point_lies_within_the_mesh(name: str):
    where = WHERES[name]
    mesh, outside = solid_mesh(where)
    shape = trimesh.Trimesh(mesh.vertices, mesh.faces, process=False)
    samples, _ = trimesh.sample.sample_surface(shape, 3000, seed=1)
    inward = samples - shape.center_mass
    inward /= np.linalg.norm(inward, axis=1)[:, None]
    assert inside_of(where, samples - 3 * outside * inward - 1e-9 * inward).mean() > 0.99
    assert not inside_of(where, samples + (1e-6 + outside) * inward).any()


@given(st.tuples(*[st.integers(-50_000, 50_000).map(lambda n: n / 1000)] * 3))
@settings(max_examples=200)
def test_inside_against_plain_formulas(p: tuple[float, float, float]):
    point = np.array([p])
    assert inside_of(WHERES["sphere"], point)[0] == (np.linalg.norm(point - (4, 5, 6)) <= 15)
    upright = Where(cylinder=Rod(**{"from": (0, 0, 0), "to": (0, 0, 20)}, diameter=60))
    assert inside_of(upright, point)[0] == (np.hypot(p[0], p[1]) <= 30 and 0 <= p[2] <= 20)
