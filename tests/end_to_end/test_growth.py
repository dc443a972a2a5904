"""Growth with heat through whole jobs: a bar of 304 anchored at one end, between solid bodies."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
import trimesh

from clearance.errors import InputError
from clearance.pipeline import check

LENGTH_MM = 300.0
# EN 10088-1, 1.4301: mean coefficient 18.0e-6/K from 20 to 500 degrees C.
GROWTH_MM = LENGTH_MM * 18.0e-6 * 480
WIDTH_MM = 0.05  # of the bound over all temperatures
JOB = """\
[part]
file = "bar.stl"
unit = "mm"
tolerance = 0.1
material = "{material}"
[register]
method = "given"
shift = [{shift}]
turn = {{ axis = [0, 0, 1], degrees = {turn} }}
[[datum]]
name = "flange"
on = "part"
face = {{ point = [{anchor}, 0, 0], normal = [-1, 0, 0], radius = 10 }}
[[zone]]
name = "wall"
kind = "chassis"
where = {{ solid = true, box = {{ min = [{low}], max = [{high}] }} }}
gap = {gap}
"""
HEAT = "[heat]\npart_temperature = {hot}\nambient = {ambient}\nmodelled_at = {modelled}\nanchor = 'flange'\n"


def _job(
    folder: Path,
    *,
    material="304",
    shift="0, 0, 0",
    turn=0,
    anchor=0,
    low="310, -200, -200",
    high="320, 200, 200",
    gap=5.0,
    heat: str = HEAT.format(hot=500, ambient=20, modelled=20),
    part: trimesh.Trimesh | None = None,
) -> Path:
    bar = trimesh.creation.box(bounds=[[0, -10, -10], [LENGTH_MM, 10, 10]]) if part is None else part
    bar.export(folder / "bar.stl")
    text = JOB.format(material=material, shift=shift, turn=turn, anchor=anchor, low=low, high=high, gap=gap)
    (folder / "job.toml").write_text(text + heat)
    return folder / "job.toml"


@pytest.mark.parametrize(
    "place",
    [
        {},
        # A quarter turn about z and a shift: the bar runs along +y from (1000, 50, 0), the anchor with it.
        {"shift": "1000, 50, 0", "turn": 90, "low": "800, 360, -200", "high": "1200, 370, 200"},
    ],
)
def test_a_hot_bar_comes_nearer_by_what_the_standard_says(tmp_path: Path, place):
    (zone,) = check(_job(tmp_path, **place)).zones
    assert pytest.approx(2.592, abs=1e-9) == GROWTH_MM
    least = 10 - GROWTH_MM
    assert zone.sweep.clearance.lower - 1e-6 <= least <= zone.sweep.clearance.upper + 1e-6
    assert zone.sweep.clearance.width <= WIDTH_MM + 1e-6
    assert zone.hot
    assert zone.factor == pytest.approx(1 + 18.0e-6 * 480, abs=1e-12)
    # 304 to 100 degrees C is 16.0e-6/K in EN 10088-1 and 17.3e-6/K in the ASM data sheet: sources differ by 8 %.
    assert zone.budget.growth == pytest.approx(0.08 * GROWTH_MM / math.sqrt(3), abs=1e-3)


def test_the_bar_passes_cold_and_not_hot(tmp_path: Path, run):
    job = _job(tmp_path, gap=8.0, heat="")
    ended = run("check", job, "-o", tmp_path / "cold")
    assert ended.code == 0, ended.err
    assert "growth with heat is not in these numbers" in (tmp_path / "cold" / "report.html").read_text()
    report = json.loads((tmp_path / "cold" / "report.json").read_text())
    assert report["zones"][0]["hot"] is False
    assert report["zones"][0]["clearance_mm"]["upper"] == pytest.approx(10, abs=0.02)
    assert run("check", _job(tmp_path, gap=8.0), "-o", tmp_path / "hot").code == 1
    report = json.loads((tmp_path / "hot" / "report.json").read_text())
    assert report["zones"][0]["hot"] is True
    assert report["zones"][0]["clearance_mm"]["upper"] == pytest.approx(10 - GROWTH_MM, abs=WIDTH_MM)


def test_the_anchored_end_stays_where_it_is(tmp_path: Path):
    (zone,) = check(_job(tmp_path, anchor=LENGTH_MM)).zones
    assert zone.sweep.clearance.upper == pytest.approx(10, abs=WIDTH_MM)


def test_a_part_modelled_hot_shrinks_onto_what_stands_inside_it(tmp_path: Path):
    bar = trimesh.creation.box(bounds=[[0, -10, -10], [310, 10, 10]])
    lug = trimesh.creation.box(bounds=[[300, -10, 5], [310, 10, 60]])
    hook = trimesh.util.concatenate([bar, lug])
    job = _job(
        tmp_path,
        part=hook,
        low="280, -50, 40",
        high="290, 50, 50",
        heat=HEAT.format(hot=500, ambient=20, modelled=500),
    )
    (zone,) = check(job).zones
    # The lug's inner face stands 300 mm from the anchor and 10 mm from the post.
    assert zone.sweep.clearance.lower - 1e-6 <= 10 - GROWTH_MM
    assert zone.sweep.clearance.upper == pytest.approx(10 - GROWTH_MM, abs=WIDTH_MM)
    assert not zone.hot


@pytest.mark.parametrize(
    ("change", "telling"),
    [
        ({"heat": HEAT.format(hot=1400, ambient=20, modelled=20)}, ("heat", "1400", "304")),
        ({"material": "unobtainium"}, ("part.material", "unobtainium", "304")),
        ({"material": "304", "heat": HEAT.format(hot=500, ambient=20, modelled=20).replace("flange", "flagne")},
         ("heat.anchor", "flagne", "did you mean 'flange'")),
    ],
)  # fmt: skip
def test_what_is_not_known_is_told_in_one_line(tmp_path: Path, run, change, telling):
    job = _job(tmp_path, **change)
    ended = run("check", job, "-o", tmp_path / "r", "--quiet")
    assert ended.code == 2
    (line,) = ended.err.splitlines()
    for words in ("job.toml", *telling):
        assert words in line, line
    assert not (tmp_path / "r").exists()
    with pytest.raises(InputError):
        check(job)
