"""The whole study on a small scene: a hot bar of 304 among solid neighbours; what is written, said, refused."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from markupsafe import escape

from clearance.cli import main
from clearance.errors import InputError
from clearance.outputs.write import write_results
from clearance.pipeline import check
from clearance.shield.record import record
from clearance.shield.result import DRIVING, SOAK, Need, ShieldResult
from clearance.shield.shield import shield
from clearance.shield.text import CAUTIONS, against_heat, gap_words, summary
from clearance.shield.write import check_folder, write_shield
from clearance.verify.verify import verify

JOB = """\
title = "hot bar"
[part]
file = "bar.stl"
unit = "mm"
tolerance = 0.1
material = "304"
[register]
method = "given"
shift = [0, 0, 0]
[[datum]]
name = "flange"
on = "part"
face = { point = [0, 0, 0], normal = [-1, 0, 0], radius = 10 }
[[zone]]
name = "hose"
kind = "line"
where = { solid = true, box = { min = [20, -10, 80], max = [100, 10, 100] } }
gap = 40
gap_shielded = 25
limit = 160
[[zone]]
name = "far wall"
kind = "chassis"
where = { solid = true, box = { min = [0, 400, -50], max = [120, 410, 50] } }
gap = 20
limit = "silicone sleeve"
[[zone]]
name = "floor"
kind = "chassis"
where = { solid = true, box = { min = [0, -40, -120], max = [120, 40, -110] } }
gap = 20
[heat]
part_temperature = 500
ambient = 50
anchor = "flange"
emissivity = 0.8
air_speed = 5
region = [{ name = "root", box = { min = [-1, -21, -21], max = [30, 21, 21] }, temperature = 450 }]
[shield]
standoff = 12
"""


def _job(folder: Path, old: str = "", new: str = "") -> Path:
    assert old in JOB
    trimesh.creation.box(bounds=[[0, -20, -20], [120, 20, 20]]).export(folder / "bar.stl")
    (folder / "job.toml").write_text(JOB.replace(old, new) if old else JOB)
    return folder / "job.toml"


@pytest.fixture(scope="module")
def found(tmp_path_factory) -> ShieldResult:
    return shield(_job(tmp_path_factory.mktemp("bar")))


def test_the_near_one_needs_a_shield_and_the_far_one_nothing(found):
    hose, wall = found.zones
    assert (hose.name, wall.name) == ("hose", "far wall")
    assert hose.need is Need.SHIELD
    assert wall.need is Need.NOTHING
    assert found.left_out == ("floor",)
    assert found.enough
    assert hose.bare_C[SOAK] > hose.limit_C > hose.shielded_C[SOAK]
    assert wall.bare_C[SOAK] < wall.limit_C


def test_gaps_agree_with_temperatures_as_it_stands(found):
    """Too hot at 60 mm bare means a larger gap is needed; still air needs no less than moving."""
    hose, wall = found.zones
    assert hose.bare[SOAK].gap_mm > 60 > hose.shielded[SOAK].gap_mm
    assert wall.bare[SOAK].gap_mm < 380
    for zone in found.zones:
        assert zone.bare[DRIVING].gap_mm <= zone.bare[SOAK].gap_mm
        assert zone.shielded[DRIVING].gap_mm <= zone.shielded[SOAK].gap_mm
        assert zone.bare_C[DRIVING] < zone.bare_C[SOAK]


def test_the_hottest_place_is_the_hoses_underside_over_the_hotter_stretch(found):
    """The bar's first 30 mm are at 450 °C, so the hottest is not over them; it looks down at the bar."""
    hose = found.zones[0]
    assert hose.place[2] == pytest.approx(80, abs=1)
    assert 50 < hose.place[0] < 90
    assert hose.at_rest_mm == pytest.approx(60, abs=1)
    assert hose.clearance_mm.lower < 60 < hose.clearance_mm.upper + 0.3  # it grows by 0.2 mm, half of it upward


def test_the_view_factor_there_is_that_of_the_bars_upper_face_and_flanks(found):
    """Howell B-4: element to a parallel rectangle, four corners' worth; the flanks are seen edge-on from above."""
    hose = found.zones[0]

    def corner(a: float, b: float, c: float = 60.0) -> float:
        x, y = a / c, b / c
        first = x / np.sqrt(1 + x**2) * np.arctan(y / np.sqrt(1 + x**2))
        return float((first + y / np.sqrt(1 + y**2) * np.arctan(x / np.sqrt(1 + y**2))) / (2 * np.pi))

    x, y, _ = hose.place
    wanted = sum(corner(abs(a - x), abs(b - y)) for a in (0.0, 120.0) for b in (-20.0, 20.0))
    assert hose.factor == pytest.approx(wanted, rel=0.01)


def test_the_shield_covers_the_upper_face_and_clears_every_zone(found):
    shield_ = found.fitted
    corners = shield_.room.part.triangles[shield_.need_faces]
    assert corners[:, :, 2].min() > -20.5
    assert (corners[:, :, 2].mean(axis=1) > 19).mean() > 0.8
    assert shield_.share == pytest.approx(1.0)
    assert shield_.blank.fits
    assert shield_.blank.covered_share > 0.95
    assert {check.zone for check in shield_.blank.checks} >= {"hose", "far wall", "floor"}
    assert shield_.pattern is not None


def test_behind_the_blank_it_is_cooler_than_bare_and_no_cooler_than_behind_all_of_a_shield(found):
    """The blank stands nearer to the hose than the shield that gaps are worked out for, and is no wider."""
    hose, wall = found.zones
    behind = found.behind_C
    assert set(behind) == {"hose", "far wall"}
    for name in (DRIVING, SOAK):
        assert behind["hose"][name] < min(hose.limit_C, hose.bare_C[name] - 20)
        assert behind["hose"][name] > hose.shielded_C[name] - 5
        assert behind["far wall"][name] < wall.limit_C
    assert found.too_hot == ()
    hotter = replace(found, behind_C={"hose": {SOAK: 161.0}})
    assert hotter.too_hot == (hose,)
    assert not hotter.enough
    assert "hose behind it: 161 °C (soak), limit 160 °C: NOT enough" in summary(hotter, 200)


def test_what_is_said(found):
    said = summary(found, 100)
    told = (
        "hose: a shield is needed, and enough where it covers all",
        "left out, no limit given: floor",
        "gap = 40 mm in the job is less than this needs",
        "proven to clear every zone",
        "An aid, not an approval",
    )
    for words in told:
        assert words in " ".join(said.split()), words
    assert max(map(len, said.splitlines())) <= 100
    needed = found.zones[0].bare
    assert against_heat(found) == [
        "The verdict is against the gaps set in the job. Heat asks for more at hose: 40 mm is set, "
        f"{np.floor(10 * found.zones[0].available_mm) / 10:g} mm is there, needed bare "
        f"{gap_words(needed[DRIVING])} (driving), {gap_words(needed[SOAK])} (soak). See Heat below."
    ]
    tree = record(found)
    assert tree["format"] == "clearance-shield/1"
    assert tree["cautions"] == list(CAUTIONS)
    assert json.loads(json.dumps(tree, allow_nan=False))["zones"][0]["needed_bare_mm"][SOAK]["gap_mm"] > 60


@pytest.fixture(scope="module")
def written(found, tmp_path_factory) -> Path:
    """A folder written over an earlier one."""
    out = tmp_path_factory.mktemp("written") / "out"
    out.mkdir()
    (out / "report.json").write_text('{"format": "clearance-report/1"}')
    (out / "shield_room.png").write_text("of an earlier study")
    write_shield(found, out)
    return out


def test_the_folder_is_whole_and_replaced_whole(found, written):
    names = {path.name for path in written.iterdir()}
    assert {"report.html", "report.json", "certificate.json", "job.toml", "temperature_hose.ply",
            "shield_blank.stl", "shield_pattern.svg", "shield_pattern.dxf", "shield_room.ply"} <= names  # fmt: skip
    assert [path.name for path in written.parent.iterdir()] == ["out"]
    assert b"of an earlier study" not in (written / "shield_room.png").read_bytes()
    tree = json.loads((written / "report.json").read_text())
    zone = tree["shield"]["zones"][0]
    assert (zone["set_gap_mm"], zone["set_gap_shielded_mm"]) == (40.0, 25.0)
    assert zone["available_mm"] == pytest.approx(found.zones[0].available_mm)
    assert tree["verdict"] == found.checked.verdict.value
    page = (written / "report.html").read_text()
    for words in ("gaps needed, set and available", "Cautions on heat", "shield blank", str(escape(CAUTIONS[1]))):
        assert words in page, words


def test_what_heat_asks_stands_beside_the_verdict(found, written):
    page = (written / "report.html").read_text()
    assert escape(against_heat(found)[0]) in page[: page.index("<main>")]


def test_the_blank_is_in_the_view_and_verify_takes_the_report(found, written):
    scene = (written / "report.html").read_text().split('id="scene">')[1].split("</script>")[0]
    (body,) = json.loads(scene)["bodies"]
    assert body["name"] == "shield blank"
    assert body["faces"]["n"] == len(found.fitted.blank.solid.faces)
    assert verify(written, lambda step: None).exit_code == 0
    cloud = trimesh.load(written / "temperature_hose.ply")
    assert len(cloud.vertices) == len(found.zones[0].points)


def test_a_folder_of_other_things_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match="holds other files"):
        check_folder(tmp_path)
    assert (tmp_path / "mine.txt").read_text() == "mine"


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        (
            'limit = "silicone sleeve"',
            'limit = "silicon sleeves"',
            ("unknown class", "did you mean 'silicone sleeve'?"),
        ),
        ("emissivity = 0.8", 'emissivity = "rust"', ("heat.emissivity", "unknown surface 'rust'", "known: ")),
        ("limit = 160", "emissivity = 'paints'\nlimit = 160", ("zone 'hose': emissivity", "did you mean 'paint'?")),
        ("min = [-1, -21, -21], max = [30,", "min = [-9, -21, -21], max = [-8,", ("region 'root'", "no triangle")),
        ("ambient = 50", "ambient = -60", ("-60 to 500 °C", "stay within 15 to 800 °C")),
        (JOB[JOB.index("[heat]") : JOB.index("[shield]")], "", ("no [heat]",)),
    ],
)
def test_bad_input_is_one_line_before_anything_is_worked_out(tmp_path, old, new, words):
    with pytest.raises(InputError) as refused:
        shield(_job(tmp_path, old, new))
    line = str(refused.value)
    assert "\n" not in line
    for word in words:
        assert word in line, line


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('"silicone sleeve"', '"silicon sleeves"', ("zone 'far wall': limit", "did you mean 'silicone sleeve'?")),
        ("emissivity = 0.8", 'emissivity = "rust"', ("heat.emissivity", "unknown surface 'rust'")),
        ("standoff = 12", 'emissivity = "tin"', ("shield.emissivity", "unknown surface 'tin'")),
        ("temperature = 450", 'temperature = 450, emissivity = "tin"', ("region 'root'", "unknown surface 'tin'")),
    ],
)
def test_check_refuses_unknown_names_too(tmp_path, old, new, words):
    with pytest.raises(InputError) as refused:
        check(_job(tmp_path, old, new))
    for word in words:
        assert word in str(refused.value)


def test_a_part_too_hot_for_its_material_is_told_with_the_source(tmp_path):
    """SSINA's guide: 870 °C for intermittent service of 304, from the table of materials."""
    hot = "part_temperature = 875\nmodelled_at = 20"
    job = _job(tmp_path, "part_temperature = 500", hot)
    job.write_text(job.read_text().replace('material = "304"', 'material = "316L"'))
    result = check(job)
    assert result.growth is not None
    told = result.growth.warning or ""
    assert "875 °C is above the guide of 870 °C for 316L" in told
    assert "SSINA high-temperature guide" in told
    write_results(result, tmp_path / "out")
    assert "SSINA high-temperature guide" in (tmp_path / "out" / "report.html").read_text()


def test_no_zone_with_a_limit(tmp_path, monkeypatch, capsys):
    job = _job(tmp_path)
    job.write_text(JOB.replace("limit = 160\n", "").replace('limit = "silicone sleeve"\n', ""))
    monkeypatch.setattr(sys, "argv", ["clearance", "shield", str(job), "-o", str(tmp_path / "out"), "-q"])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 2
    assert "no zone has a limit" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()
