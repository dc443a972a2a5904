"""What is behind a patch that must move: rooms between parallel walls, where they are plain differences."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from solid_jobs import HEAD, solid_zone

from clearance import check, write_results
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import surface_area
from clearance.verdict.behind import surfaces_along


@pytest.fixture
def between(tmp_path):
    """Return a function: a slab 10 thick, 3 from a floor that wants 8, and so far from a ceiling that wants 6."""

    def checked(ceiling: float):
        trimesh.creation.box([80, 40, 10]).export(tmp_path / "part.stl")
        floor = solid_zone("box = { min = [-90, -90, -30], max = [90, 90, -8] }", 8, name="floor")
        above = f"box = {{ min = [-90, -90, {5 + ceiling}], max = [90, 90, {20 + ceiling}] }}"
        job = tmp_path / "job.toml"
        job.write_text(f"{HEAD}shift = [0, 0, 0]\n{floor}{solid_zone(above, 6, name='ceiling')}")
        return check(job)

    return checked


def test_the_room_is_what_the_other_wall_leaves(between):
    """The underside must rise by 5; it is 10 + ceiling from the ceiling, which wants 6."""
    for ceiling in (7.0, 30.0):
        (fix,) = [f for f in between(ceiling).fixes if f.direction[2] > 0.9]
        assert fix.short_mm == pytest.approx(5.0, abs=0.05)
        assert fix.room_to == "ceiling"
        # Proven, so never more than the truth; the field is given up on at 2.2 gaps, so perhaps much less.
        assert 5.0 <= fix.room_mm <= 10 + ceiling - 6 + 1e-6


def test_a_room_that_is_too_small_is_told_closely(between):
    """The patch reaches half way up the sides, to z = 0: of a ceiling at 5 + 4 it has 9 - 6 in hand."""
    (fix,) = [f for f in between(4.0).fixes if f.zone == "floor"]
    assert fix.moved.vertices[:, 2].max() == pytest.approx(5.0, abs=0.05)
    assert 2.85 <= fix.room_mm <= 3.0
    assert fix.room_mm < fix.short_mm


def test_own_surfaces_behind_are_where_the_part_is():
    """Two tubes of square section one above the other: walls of 2, bores of 10, 5 between."""
    boxes = [([-9, -9, z], [9, 9, z + 2]) for z in (0, 12, 19, 31)]
    shape = trimesh.util.concatenate([trimesh.creation.box(bounds=b) for b in boxes])
    mesh = Mesh(np.asarray(shape.vertices), np.asarray(shape.faces, np.int64))
    up = np.array([0, 0, 1.0])
    assert surfaces_along(mesh, np.array([1.0, 2, 0]), up) == pytest.approx((2, 12, 14, 19, 21, 31, 33))
    assert surfaces_along(mesh, np.array([1.0, 2, 0]), -up) == ()


def test_the_moved_patch_is_written_and_clears(between, tmp_path):
    result = between(30.0)
    write_results(result, tmp_path / "report")
    fix = result.fixes[0]
    read = trimesh.load(tmp_path / "report" / "fixes" / "fix_1.ply", process=False)
    assert read.area == pytest.approx(surface_area(fix.moved))
    # The floor's top is at -8 and wants 8: moved just enough the underside lies at 0.
    assert read.vertices[:, 2].min() == pytest.approx(0.0, abs=0.05)
    page = (tmp_path / "report" / "report.html").read_text()
    assert "mm to ceiling" in page
    write_results(result, tmp_path / "report")
