"""Faces in contact: areas and masks in closed form."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import trimesh

from clearance.scene.mesh import Mesh
from clearance.verify.target import Target
from clearance.verify.touching import Disc, _area_in_disc, check_plain, may_touch, mesh_faults

DISC = Disc(middle=np.array([10.0, 20, 5]), normal=np.array([0.0, 0, -1]), radius_mm=30.0)


def _square(half: float, slope: float = 0.0, cuts: int = 0) -> Mesh:
    """A square about the disc's middle, rising along x."""
    x, y = np.array([-half, half, half, -half]), np.array([-half, -half, half, half])
    made = trimesh.Trimesh(np.column_stack([x, y, slope * x]), [[0, 1, 2], [0, 2, 3]])
    for _ in range(cuts):
        made = made.subdivide()
    return Mesh(np.asarray(made.vertices) + DISC.middle, np.asarray(made.faces, np.int64))


@pytest.mark.parametrize("cuts", [0, 2, 4])
@pytest.mark.parametrize("slope", [0.0, 0.3])
def test_a_disc_in_a_square_has_the_area_of_a_disc(cuts, slope):
    found = _area_in_disc(_square(50, slope, cuts).triangles, DISC)
    assert found == pytest.approx(np.pi * 30**2 * np.sqrt(1 + slope**2), abs=1e-6)


def test_a_square_in_a_disc_has_its_own_area_and_one_that_cuts_it_less():
    assert _area_in_disc(_square(20, cuts=1).triangles, DISC) == pytest.approx(40**2, abs=1e-6)
    # The disc less four caps of height 30 - 25.
    cap = 30**2 * np.arccos(25 / 30) - 25 * np.sqrt(30**2 - 25**2)
    assert _area_in_disc(_square(25).triangles, DISC) == pytest.approx(np.pi * 30**2 - 4 * cap, abs=1e-6)


def test_triangles_beside_the_disc_have_none():
    beside = Mesh(_square(20).vertices + np.array([60, 0, 0]), _square(20).faces)
    assert _area_in_disc(beside.triangles, DISC) == pytest.approx(0, abs=1e-9)


def _plug() -> Target:
    """A part over the plane z = 5, with a pin 4 mm across through it 15 mm beside the disc's middle."""
    plate = trimesh.creation.box((90, 90, 10), trimesh.transformations.translation_matrix([10, 20, 10]))
    pin = trimesh.creation.box((4, 4, 30), trimesh.transformations.translation_matrix([25, 20, 5]))
    both = trimesh.util.concatenate([plate, pin])
    return Target(Mesh(np.asarray(both.vertices, float), np.asarray(both.faces, np.int64)))


def test_only_what_lies_in_the_disc_on_the_plane_and_not_in_the_parts_way_is_masked():
    slack = 0.5
    points = np.array(
        [[10, 20, 5.0], [10, 20, 4.6], [10, 20, 4.4], [10, 20, 5.6], [39.9, 20, 5], [40.1, 20, 5], [25, 20, 5]]
    )
    told = may_touch(points, (DISC,), slack, _plug(), np.zeros(3))
    assert told.tolist() == [1, 1, 0, 0, 1, 0, 0]


def _cut(half: float, hole: float, more: float = 0.0) -> Mesh:
    """The square with a square hole in its middle, and one more hole of `more` mm2 at a corner."""
    cuts = np.array(sorted({-half, -hole, hole, half - np.sqrt(more), half}))
    corners, faces = [], []
    for x, x1 in pairwise(cuts):
        for y, y1 in pairwise(cuts):
            in_hole = max(abs(x), abs(x1), abs(y), abs(y1)) <= hole
            if not in_hole and not (more and x == y == cuts[-2]):
                faces += [[len(corners) + k for k in half_] for half_ in ((0, 1, 2), (0, 2, 3))]
                corners += [[x, y, 0], [x1, y, 0], [x1, y1, 0], [x, y1, 0]]
    return Mesh(np.array(corners) + DISC.middle, np.array(faces, np.int64))


def test_a_mesh_may_lose_what_is_in_the_disc_and_nothing_else():
    whole, left = _square(50), _cut(50, 20)
    assert mesh_faults(whole, left, False, (DISC,), 0.5, 1600.0) == []
    assert any("masks 1500" in fault for fault in mesh_faults(whole, left, False, (DISC,), 0.5, 1500.0))
    found = mesh_faults(whole, _cut(50, 20, 4.0), False, (DISC,), 0.5, 1604.0)
    assert any("4.000 mm2 are gone from outside" in fault for fault in found)
    found = mesh_faults(whole, _cut(50, 25), False, (DISC,), 0.5, 2500.0)  # its corners lie beyond the disc
    assert any("gone from outside" in fault for fault in found)


def test_a_triangle_off_the_plane_may_not_be_lost():
    whole = _square(50)
    roof = Mesh(
        np.vstack([whole.vertices, whole.vertices + np.array([0, 0, 20])]), np.vstack([whole.faces, whole.faces + 4])
    )
    found = mesh_faults(roof, whole, False, (DISC,), 0.5, 0.0)
    assert any("2 triangles are missing" in fault for fault in found)


def test_where_the_part_goes_through_areas_are_not_asked():
    with pytest.raises(ValueError, match="through"):
        check_plain((DISC,), _plug().mesh, 0.5)
