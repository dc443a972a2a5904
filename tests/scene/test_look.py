"""What `look` tells, against closed forms."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import trimesh

from clearance.errors import InputError
from clearance.scene.densities import DENSITIES, mass_g
from clearance.scene.look import as_dict, as_lines, guess_unit, look
from clearance.scene.mesh import Mesh
from clearance.scene.wall import thinnest_wall


def mesh_of(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))


def test_mesh(tmp_path: Path) -> None:
    trimesh.creation.box((100, 20, 30)).export(tmp_path / "a.stl")
    found = look(tmp_path / "a.stl", "mm")
    assert found.scan is None
    assert found.mesh is not None
    assert found.mesh.triangles == 12
    assert found.mesh.health.volume_mm3 == pytest.approx(60_000)
    assert found.mesh.mass_g["Ti-6Al-4V"] == pytest.approx(60 * 4.43)
    assert found.mesh.wall is not None
    assert found.mesh.wall.thinnest == pytest.approx(20, abs=0.01)
    np.testing.assert_allclose(found.extents_mm["in"], np.array([100, 20, 30]) * 25.4)
    text = "\n".join(as_lines(found))
    for expected in ("STL mesh", "closed: yes", "volume: 60000 mm³", "thinnest wall: about 20 mm", "sampled"):
        assert expected in text
    assert json.loads(json.dumps(as_dict(found)))["mesh"]["volume"] == pytest.approx(60_000)


def test_without_a_unit_nothing_is_assumed(tmp_path: Path) -> None:
    trimesh.creation.box((0.1, 0.02, 0.03)).export(tmp_path / "a.stl")
    found = look(tmp_path / "a.stl")
    assert found.length_unit == "file units"
    assert found.guess == "m"
    assert found.mesh is not None
    assert found.mesh.health.volume_mm3 == pytest.approx(6e-5, rel=1e-6)
    assert found.mesh.mass_g == {}
    assert "mass: not told without a unit" in "\n".join(as_lines(found))


def test_stated_unit_beats_the_guess_and_contradiction_is_refused(tmp_path: Path) -> None:
    trimesh.creation.box((0.1, 0.02, 0.03)).export(tmp_path / "a.glb")
    assert (look(tmp_path / "a.glb").guess, look(tmp_path / "a.glb").guess_reason) == ("m", "the file format states it")
    with pytest.raises(InputError, match="states the unit 'm'"):
        look(tmp_path / "a.glb", "mm")


def test_open_mesh(tmp_path: Path) -> None:
    box = trimesh.creation.box((100, 20, 30))
    trimesh.Trimesh(box.vertices, box.faces[2:], process=False).export(tmp_path / "a.ply")
    found = look(tmp_path / "a.ply", "mm")
    assert found.mesh is not None
    assert found.mesh.wall is None
    assert "closed: no" in "\n".join(as_lines(found))
    assert as_dict(found)["mesh"]["volume"] is None


def test_scan(tmp_path: Path) -> None:
    random = np.random.default_rng(1)
    x, y = np.meshgrid(np.arange(0, 400, 2.0), np.arange(0, 300, 2.0))
    points = np.column_stack([x.ravel(), y.ravel(), random.normal(0, 0.1, x.size)])
    np.savetxt(tmp_path / "a.xyz", np.vstack([points, [[200, 150, 90]]]))
    found = look(tmp_path / "a.xyz", "mm")
    assert found.mesh is None
    assert found.scan is not None
    assert found.scan.points == 200 * 150 + 1
    assert found.scan.spacing[1] == pytest.approx(2 * np.sqrt(2), rel=0.02)
    assert found.scan.noise == pytest.approx(0.1, rel=0.1)
    assert found.scan.strays == 1
    text = "\n".join(as_lines(found))
    assert "holes are not judged" in text
    assert "likely unit: mm" in text
    json.dumps(as_dict(found))


@pytest.mark.parametrize("unit", ["m", "in"])
def test_a_scan_is_the_same_with_and_without_its_unit(tmp_path: Path, unit: str) -> None:
    random, mm = np.random.default_rng(1), {"m": 1000.0, "in": 25.4}[unit]
    x, y = np.meshgrid(np.arange(0, 900, 6.0), np.arange(0, 600, 6.0))
    sheet = np.column_stack([x.ravel(), y.ravel(), random.normal(0, 0.1, x.size)])
    # Seven points a tenth of a mm about one place are neighbours of each other in every unit.
    knot = random.normal((450, 300, 90), 0.1, (7, 3))
    np.savetxt(tmp_path / "a.xyz", np.vstack([sheet, knot]) / mm)
    told, untold = look(tmp_path / "a.xyz", unit), look(tmp_path / "a.xyz")
    assert untold.guess == unit
    assert untold.scan is not None
    assert told.scan is not None
    assert untold.scan.strays == told.scan.strays
    assert untold.scan.noise * mm == pytest.approx(told.scan.noise)
    assert np.array(untold.scan.spacing) * mm == pytest.approx(np.array(told.scan.spacing))


@pytest.mark.parametrize(("kind", "size", "expected"), [("mesh", 400.0, "mm"), ("mesh", 0.4, "m"), ("scan", 2.0, "m")])
def test_guess(kind: str, size: float, expected: str) -> None:
    factors = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
    assert guess_unit({unit: size * f for unit, f in factors.items()}, None, kind)[0] == expected


def test_no_guess_where_nothing_fits() -> None:
    assert guess_unit(dict.fromkeys(("mm", "cm", "m", "in"), 1e9), None, "mesh")[0] is None


def test_wall_of_a_tube() -> None:
    # an annulus of 64 sides: wall between the flats of both polygons, (R - r) cos(pi / 64)
    tube = mesh_of(trimesh.creation.annulus(r_min=20, r_max=21.5, height=80, sections=64))
    wall = thinnest_wall(tube)
    assert wall is not None
    assert wall.thinnest == pytest.approx(1.5 * np.cos(np.pi / 64), abs=0.01)
    assert 20 * np.cos(np.pi / 64) - 0.01 <= np.hypot(*wall.at[:2]) <= 21.51


def test_wall_finds_the_thin_one_of_two_plates() -> None:
    thick = trimesh.creation.box((50, 50, 6))
    thin = trimesh.creation.box((50, 50, 0.8))
    thin.apply_translation((100, 0, 0))
    wall = thinnest_wall(mesh_of(trimesh.util.concatenate([thick, thin])))
    assert wall is not None
    assert wall.thinnest == pytest.approx(0.8, abs=0.01)
    assert wall.at[0] > 70


def test_wall_of_a_body_swallowed_by_another_is_its_own() -> None:
    outer, inner = trimesh.creation.box((30, 30, 30)), trimesh.creation.box((20, 20, 20))
    wall = thinnest_wall(mesh_of(trimesh.util.concatenate([outer, inner])))
    assert wall is not None
    assert wall.thinnest == pytest.approx(20, abs=0.01)  # not the 5 mm between their surfaces: all of that is metal


def test_masses() -> None:
    # 1 dm3 of water-like 1 g/cm3 is 1 kg; the table's own numbers against handbook ranges (common practice)
    ranges = {"low-carbon steel": (7.8, 7.9), "stainless 304": (7.9, 8.03), "stainless 316L": (7.95, 8.03),
              "alloy 625": (8.4, 8.5), "alloy 718": (8.17, 8.26), "Ti-6Al-4V": (4.41, 4.45), "ductile iron": (7.0, 7.2),
              "AlSi10Mg": (2.65, 2.70)}  # fmt: skip
    for density in DENSITIES:
        low, high = ranges[density.material]
        assert 1000 * low <= mass_g(1e6, density) <= 1000 * high
        assert density.source


@pytest.mark.parametrize("content", ["1 2 3\n", "1 2 3\n" * 100, "0 0 0\n1 0 0\n0 1 0\n"])
def test_a_scan_of_too_few_points_has_no_spacing(tmp_path: Path, content: str) -> None:
    (tmp_path / "few.xyz").write_text(content)
    found = look(tmp_path / "few.xyz")
    assert found.scan is not None
    assert found.scan.spacing is None
    assert "spacing: not told" in "\n".join(as_lines(found))
    assert "nan" not in json.dumps(as_dict(found), allow_nan=False)
