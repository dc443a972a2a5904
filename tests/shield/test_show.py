"""The files a user opens, read back with general libraries."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from PIL import Image
from shield_scenes import any_job, blank_of, box_of, hot_points, laid_out, lines_to, wish_of, zone_of

from clearance.frames import rigid
from clearance.outputs.colours import BANDS
from clearance.scene.open3d_import import open3d
from clearance.shield.blank import blank
from clearance.shield.room import room
from clearance.shield.show import SHEET, write_blank, write_room

UP = np.array([0.0, 0, 1])
BLOCK = box_of((-40, -30, 0), (40, 30, 20), longest=6.0)
SIDE = BLOCK.triangles.mean(axis=1)[:, 1] < -29.9


def _share_near(picture: Path, colours: list[tuple[int, int, int]], apart: float) -> float:
    """Share of pixels whose hue and shade are those of a colour, whatever the light."""
    pixels = np.asarray(Image.open(picture).convert("RGB"), np.float64).reshape(-1, 3)
    found = np.zeros(len(pixels), dtype=bool)
    for colour in np.array(colours, np.float64):
        along = np.clip(pixels @ colour / (colour @ colour), 0.68, 1.0)
        found |= np.linalg.norm(pixels - along[:, None] * colour, axis=1) < apart
    return float(found.mean())


@pytest.mark.parametrize(("build", "short"), [(40.0, True), (20.0, False)])
def test_room_breaks_its_colour_where_the_build_just_fits(build: float, short: bool, tmp_path: Path):
    layout = laid_out(BLOCK, [zone_of(box_of((-900, -900, -60), (900, 900, -30)))])
    found = room(layout, {"wall": 0.0})
    mesh, picture = write_room(found, SIDE, build, tmp_path, UP)
    read = open3d().t.io.read_point_cloud(str(mesh))
    assert np.allclose(read.point["room_mm"].numpy().ravel(), found.room_mm, atol=1e-4)
    orange = [BANDS[1].low, BANDS[1].high, tuple(np.mean([BANDS[1].low, BANDS[1].high], axis=0))]
    assert (_share_near(picture, orange, 12.0) > 0.01) is short


def test_the_blank_is_written_in_the_parts_own_frame(tmp_path: Path):
    layout = laid_out(BLOCK, [zone_of(box_of((-900, -900, -120), (900, 900, -90)))])
    turn = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    placed = replace(layout.setting.registration, T_bay_part=rigid("bay", "part", turn, (10.0, 20, 30)))
    layout = replace(layout, setting=replace(layout.setting, registration=placed))
    lines = lines_to(BLOCK, hot_points((-20, -10), (20, 10), -80.0), (0.0, 0, 1))
    made = blank(layout, any_job(), BLOCK.triangles.mean(axis=1)[:, 2] < 0.1, lines, {"wall": 0.0}, wish_of())
    mesh, picture = write_blank(made, layout, SIDE, tmp_path, UP)
    read = trimesh.load(mesh)
    assert read.is_watertight
    back = (made.solid.vertices - (10, 20, 30)) @ turn
    assert np.allclose(read.bounds, [back.min(axis=0), back.max(axis=0)], atol=1e-3)  # single precision of STL
    assert _share_near(picture, [tuple(SHEET)], 12.0) > 0.02


def test_an_empty_blank_is_not_written(tmp_path: Path):
    layout = laid_out(BLOCK, [zone_of(box_of((0, 0, -90), (9, 9, -80)))])
    with pytest.raises(ValueError, match="nothing is left"):
        write_blank(blank_of(), layout, SIDE, tmp_path, UP)
    assert not list(tmp_path.iterdir())
