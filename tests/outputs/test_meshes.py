"""Coloured meshes read back with a general library and, for PLY, straight from the bytes the header promises."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

from clearance.outputs.meshes import upright, write_meshes

CENTRE, RADIUS = np.array([100.0, 50.0, 20.0]), 30.0
SHORT, ENOUGH = ((0xD5, 0x5E, 0x00), (0xF5, 0xB9, 0x5F)), ((0x6F, 0xB1, 0xD6), (0xA9, 0xD0, 0xE6))


@pytest.fixture
def written(result, tmp_path: Path) -> Path:
    write_meshes(result, tmp_path)
    return tmp_path


def _vertices(path: Path) -> np.ndarray:
    """Read the vertex block by the header alone (PLY 1.0, Turk 1994)."""
    kinds = {"double": "<f8", "float": "<f4", "uchar": "u1"}
    raw = path.read_bytes()
    header, body = raw.split(b"end_header\n", 1)
    lines = header.decode("ascii").splitlines()
    assert lines[:2] == ["ply", "format binary_little_endian 1.0"]
    count = int(next(line for line in lines if line.startswith("element vertex")).split()[2])
    layout = [
        (words[2], kinds[words[1]]) for words in map(str.split, lines) if words[:1] == ["property"] and len(words) == 3
    ]
    return np.frombuffer(body, dtype=layout, count=count)


def test_part_ply_holds_place_and_clearance(written):
    table = _vertices(written / "clearance_part.ply")
    places = np.column_stack([table["x"], table["y"], table["z"]])
    # On the icosphere every vertex lies on the sphere; placed in the bay about its centre. 1e-9: double precision.
    assert np.abs(np.linalg.norm(places - CENTRE, axis=1) - RADIUS).max() < 1e-9
    to_ceiling, to_floor = 60.0 - (places[:, 2] + 5.0), (places[:, 2] - 2.0) + 20.0
    ceiling, floor = np.minimum(to_ceiling, 17.6), np.minimum(to_floor, 13.2)  # values are known up to the caps
    decides = np.where(ceiling - 8.0 < floor - 6.0, ceiling, floor)
    assert np.abs(table["clearance_mm"] - decides).max() < 1e-5  # single precision of 20


def test_colours_break_at_the_gap(written):
    table = _vertices(written / "clearance_part.ply")
    top = np.argmax(table["z"])
    colour = np.array([table[c][top] for c in ("red", "green", "blue")], float)
    low, high = np.array(SHORT, float)
    # 5 mm of 8 mm lies 5/8 along the short band; 1 = rounding to whole steps.
    assert np.abs(colour - (low + (high - low) * 5 / 8)).max() <= 1
    to_ceiling = 55.0 - table["z"]
    just_enough = (to_ceiling >= 8.0) & (to_ceiling < 15.0)  # nearer to its gap than the floor's cap is to the floor's
    assert just_enough.any()
    blue = np.array(ENOUGH)
    assert (table["red"][just_enough] >= blue[0, 0]).all()
    assert (table["red"][just_enough] <= blue[1, 0]).all()


def test_a_general_reader_opens_the_ply(written):
    mesh = trimesh.load_mesh(written / "clearance_part.ply", process=False)
    assert mesh.is_watertight
    assert mesh.volume == pytest.approx(4 / 3 * np.pi * RADIUS**3, rel=0.01)  # facets lie inside the sphere
    assert mesh.visual.vertex_colors.shape == (len(mesh.vertices), 4)
    points = trimesh.load(written / "clearance_zone_ceiling.ply")
    assert np.allclose(points.vertices[:, 2], 60.0, rtol=0, atol=1e-9)


def test_glb_is_metres_y_up_and_linear_light(written):
    scene = trimesh.load_scene(written / "clearance_part.glb")
    mesh = scene.to_geometry()
    there = CENTRE[[1, 2, 0]]  # glTF 2.0, 3.4: +Y up, +Z forward; the bay's z is up, its x forward
    assert np.allclose(mesh.bounds[0] * 1000, there - RADIUS, rtol=0, atol=1e-3)  # single precision of 100 mm
    assert np.allclose(mesh.bounds[1] * 1000, there + RADIUS, rtol=0, atol=1e-3)
    stored = mesh.visual.vertex_colors[np.argmax(mesh.vertices[:, 1]), :3]
    table = _vertices(written / "clearance_part.ply")
    top = np.argmax(table["z"])
    srgb = np.array([table[c][top] for c in ("red", "green", "blue")], float) / 255
    # IEC 61966-2-1: linear = ((c + 0.055) / 1.055)^2.4 above 0.04045.
    linear = np.where(srgb > 0.04045, ((srgb + 0.055) / 1.055) ** 2.4, srgb / 12.92)
    assert np.abs(stored - 255 * linear).max() <= 1


def test_glb_of_points_is_points(written):
    (cloud,) = trimesh.load_scene(written / "clearance_zone_ceiling.glb").dump()
    assert isinstance(cloud, trimesh.PointCloud)
    assert len(cloud.vertices) == 61 * 61
    assert np.allclose(cloud.vertices[:, 1], 0.060, rtol=0, atol=1e-6)


@pytest.mark.parametrize(("up", "forward"), [((0, 0, 1), (1, 0, 0)), ((0, 2, 1), (1, 1, 5)), ((1, 0, 0), (3, 0, 0))])
def test_upright_is_a_rotation(up, forward):
    turned = upright(np.array(up, float), np.array(forward, float))
    assert np.allclose(turned @ turned.T, np.eye(3), rtol=0, atol=1e-12)
    assert np.linalg.det(turned) == pytest.approx(1.0)
    assert np.allclose(turned @ up / np.linalg.norm(up), [0, 1, 0], rtol=0, atol=1e-12)
    assert (turned @ forward)[2] >= 0
