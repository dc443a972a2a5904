"""A square rail 30 mm under a block, gap 20 mm, its points sampled at a known pitch, with and without a hole."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearance.scene.condition import condition
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.zone import Zone
from clearance.unseen.find import find_unseen
from clearance.unseen.result import Needed, Unseen

GAP_MM, APART_MM = 20.0, 30.0


def rail(pitch: float, rng: np.random.Generator) -> np.ndarray:
    """Top and both sides of a 40 mm square rail along y, top at z = 0, noise 0.2 mm."""
    y = np.arange(-200.0, 200.0, pitch)
    across = np.arange(-20.0, 20.0 + 1e-9, pitch)
    top = np.array([[x, v, 0.0] for x in across for v in y])
    sides = [np.array([[s, v, -z] for z in across[1:] + 20 for v in y]) for s in (-20.0, 20.0)]
    points = np.concatenate([top, *sides])
    return points + rng.uniform(-0.3, 0.3, points.shape) * pitch * (points != 0) + rng.normal(0, 0.2, points.shape)


def found(points: np.ndarray, apart_mm: float = APART_MM) -> tuple[Unseen, ...]:
    shape = trimesh.creation.box((60, 120, 40))
    mesh = Mesh(np.asarray(shape.vertices, float) + np.array([0, 0, apart_mm + 20]), np.asarray(shape.faces, np.int64))
    part = Part(name="block.stl", mesh=mesh, shown=mesh, closed=True, rides="chassis", tolerance_mm=0.0)
    scan = condition(points, 0.2, 0.0)
    zone = Zone(
        name="rail", table="rail", kind="chassis", rides="chassis", gap_mm=GAP_MM, points=scan.points[~scan.stray],
        spacing_mm=scan.spacing_mm[~scan.stray], stray_points=scan.points[scan.stray],
    )  # fmt: skip
    return find_unseen(part, scan, [Needed(zone=zone, needed_mm=GAP_MM + 1.0)], None)


@pytest.mark.parametrize("pitch", [1.0, 2.0, 3.0])
def test_a_whole_rail_hides_nothing(pitch):
    assert found(rail(pitch, np.random.default_rng(1))) == ()


@pytest.mark.parametrize("pitch", [1.0, 2.0, 3.0])
@pytest.mark.parametrize("diameter", [10.0, 20.0, 40.0, 80.0])
def test_a_hole_over_the_rail_is_found(pitch, diameter):
    points = rail(pitch, np.random.default_rng(1))
    hole = np.linalg.norm(points, axis=1) < diameter / 2
    spots = found(points[~hole])
    assert spots, "a hole that nobody saw into passed"
    assert np.linalg.norm(spots[0].centre) < diameter / 2 + pitch  # within the hole, to one pitch
    assert spots[0].zone == "rail"


def test_a_stretch_cut_out_of_the_rail_is_found():
    points = rail(2.0, np.random.default_rng(1))
    spots = found(points[np.abs(points[:, 1]) > 30])
    assert spots
    assert abs(spots[0].centre[1]) < 30  # inside the missing 60 mm


@pytest.mark.parametrize("diameter", np.arange(50.0, 80.0, 3.0))
def test_a_hole_far_from_the_part_matters_to_nobody(diameter):
    points = rail(2.0, np.random.default_rng(1))
    hole = np.linalg.norm(points, axis=1) < diameter / 2
    # What stands out of it by its radius ends at least 30 mm from the part; 21 mm are needed.
    assert found(points[~hole], apart_mm=70.0) == ()
