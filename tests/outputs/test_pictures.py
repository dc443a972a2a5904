"""Pictures looked at pixel by pixel: where the gap line is, what is coloured how, that nothing is blank."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from clearance.bounds import Bound
from clearance.outputs import annotate, pictures
from clearance.outputs.camera import Camera, look
from clearance.outputs.colours import band_index, rgb
from clearance.outputs.raycast import RayMesh
from clearance.outputs.render import BACKGROUND, Canvas
from clearance.scene.mesh import Mesh

DARK = 0x60
UP_MM, DOWN_MM = 5.0, -2.0


@pytest.fixture
def drawn(result, tmp_path: Path, monkeypatch) -> dict[str, tuple[Camera, np.ndarray]]:
    """Draw at a quarter of the size; give each zone's camera and (h, w, 3) picture."""
    monkeypatch.setattr(pictures, "WIDE", 600)
    monkeypatch.setattr(pictures, "HIGH", 400)
    seen: list[Camera] = []
    dimension = annotate.dimension

    def spy(image: Image.Image, camera: Camera, *rest: object) -> None:
        seen.append(camera)
        dimension(image, camera, *rest)

    monkeypatch.setattr(annotate, "dimension", spy)
    written = pictures.write_pictures(result, tmp_path / "pictures")
    assert [picture.path.name for picture in written] == ["part.png", "worst_ceiling.png", "worst_floor.png"]
    images = [np.asarray(Image.open(picture.path).convert("RGB")).astype(int) for picture in written]
    return {"part": (seen[0], images[0]), "ceiling": (seen[0], images[1]), "floor": (seen[1], images[2])}


def _pixel(camera: Camera, place: tuple[float, float, float]) -> tuple[int, int]:
    """Column and row of a bay point, by the camera's own axes (parallel projection)."""
    away = np.array(place) - camera.target
    column = camera.width / 2 + away @ camera.right / camera.mm_per_px
    row = camera.height / 2 - away @ camera.up / camera.mm_per_px
    return round(float(column)), round(float(row))


@pytest.mark.parametrize(
    ("zone", "on_part", "on_zone"),
    # At the worst pose: the sphere's top at 50 + 5 under the ceiling, its bottom at -10 - 2 over the floor.
    [("ceiling", 50.0 + UP_MM, 60.0), ("floor", -10.0 + DOWN_MM, -20.0)],
)
def test_the_gap_is_drawn_between_the_witnesses_at_the_worst_pose(drawn, zone, on_part, on_zone):
    camera, image = drawn[zone]
    start, end = _pixel(camera, (100, 50, on_part)), _pixel(camera, (100, 50, on_zone))
    # Seen square to the gap: its length in the picture is true, to a pixel.
    assert np.hypot(end[0] - start[0], end[1] - start[1]) * camera.mm_per_px == pytest.approx(
        abs(on_part - on_zone), abs=2 * camera.mm_per_px
    )
    for share in (0.05, 0.3, 0.5, 0.7, 0.95):
        column = round(start[0] + share * (end[0] - start[0]))
        row = round(start[1] + share * (end[1] - start[1]))
        assert image[row - 1 : row + 2, column - 1 : column + 2].max(axis=2).min() < DARK
    for share in (-0.6, 1.6):
        row = round(start[1] + share * (end[1] - start[1]))
        assert image[row, start[0]].max() > DARK


def test_short_surface_is_orange_and_clear_surface_is_not(drawn):
    camera, image = drawn["ceiling"]
    column, row = _pixel(camera, (100 + 8, 50, 50.0 + UP_MM - 1.5))
    red, _, blue = image[row, column]
    assert red > blue + 60
    column, row = _pixel(camera, (100 + 12, 50, 20.0 + UP_MM))
    red, _, blue = image[row, column]
    assert blue >= red


def test_no_picture_is_blank(drawn):
    for _, image in drawn.values():
        plain = (np.abs(image - BACKGROUND) <= 2).all(axis=2)
        assert plain.mean() < 0.9
        assert len(np.unique(image.reshape(-1, 3), axis=0)) > 200


def test_a_touching_part_still_gets_a_picture(result, tmp_path: Path, monkeypatch):
    monkeypatch.setattr(pictures, "WIDE", 300)
    monkeypatch.setattr(pictures, "HIGH", 200)
    zone = result.zones[1]
    sunk = replace(zone.sweep, clearance=Bound(-1.0, -0.5), on_zone=zone.sweep.on_part)
    odd = replace(result, zones=(replace(zone, sweep=sunk),))
    written = pictures.write_pictures(odd, tmp_path / "pictures")
    assert all(picture.path.stat().st_size > 1000 for picture in written)


def _tile(depth: float, half: float) -> Mesh:
    corners = np.array(
        [[-half, -half, depth], [half, -half, depth], [half, half, depth], [-half, half, depth]], np.float64
    )
    return Mesh(corners, np.array([[0, 1, 2], [0, 2, 3]]))


def test_near_surface_hides_far_surface_and_points():
    camera = look(target=(0, 0, 0), toward=(0, 0, 1), up=(0, 1, 0), width=40, height=40, width_mm=40, height_mm=40)
    canvas = Canvas(camera)
    for mesh, colour in ((_tile(5, 5), (200, 0, 0)), (_tile(-5, 15), (0, 200, 0))):
        shape = RayMesh(mesh)
        hits = canvas.hits(shape)
        canvas.surface(shape, hits, np.tile(np.array(colour, np.uint8), (len(hits.face), 1)))
    behind = np.array([[0.0, 0, 0], [10, 0, 0], [18, 0, 0]])
    canvas.points(behind, np.tile(np.array((0, 0, 250), np.uint8), (3, 1)), size=4)
    image = np.asarray(canvas.image()).astype(int)
    assert image[20, 20].argmax() == 0
    assert image[20, 30].argmax() == 2
    assert image[20, 38].argmax() == 2
    assert image[32, 20].argmax() == 1
    assert (image[2, 2] == BACKGROUND).all()


def test_legend_shows_the_bands_of_this_gap():
    image = Image.new("RGB", (700, 300), (255, 255, 255))
    annotate.legend(image, 8.0)
    strip = np.asarray(image)[300 - 50 + 7, 24 : 24 + 4 * annotate.BAND_WIDE]
    middle = [strip[round((i + 0.25) * annotate.BAND_WIDE)] for i in range(4)]
    for colour, clearance in zip(middle, (-6.0, 2.0, 10.0, 18.0), strict=True):
        assert np.abs(colour.astype(int) - rgb(clearance, 8.0)).max() <= 2


@pytest.mark.parametrize(
    ("clearance", "band"), [(-0.001, 0), (0.0, 1), (7.999, 1), (8.0, 2), (15.999, 2), (16.0, 3), (np.nan, -1)]
)
def test_bands_break_exactly_at_contact_and_gap(clearance: float, band: int):
    assert band_index(clearance, 8.0) == band
