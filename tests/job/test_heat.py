"""What a job may say of heat, limits and the shield; each fault is one line that names key, value and what is right."""

from __future__ import annotations

from pathlib import Path

import pytest

from clearance.errors import InputError
from clearance.job.heat import Shield
from clearance.job.read import read_job

JOB = """\
[part]
file = "part.stl"
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
where = { solid = true, box = { min = [0, 0, 0], max = [1, 1, 1] } }
gap = 5
limit = "EPDM hose"
emissivity = 0.9
[heat]
part_temperature = 500
ambient = 60
anchor = "flange"
emissivity = "stainless heavily oxidised"
air_speed = 3
region = [{ name = "inlet", sphere = { center = [0, 0, 0], diameter = 9 }, temperature = 300, emissivity = 0.5 }]
[shield]
standoff = 12
"""


def _read(folder: Path, old: str = "", new: str = ""):
    assert old in JOB
    (folder / "part.stl").write_bytes(b"x")
    (folder / "job.toml").write_text(JOB.replace(old, new, 1) if old else JOB)
    return read_job(folder / "job.toml")


def test_all_keys_are_read(tmp_path):
    job = _read(tmp_path)
    assert job.zones[0].limit == "EPDM hose"
    assert job.heat.region[0].temperature == 300
    assert job.shield.build_mm == pytest.approx(12.8)


def test_the_build_of_two_sheets():
    shield = Shield.model_validate({"sheets": 2, "standoff": 10.0, "sheet": 0.5, "between": 4.0})
    assert shield.build_mm == pytest.approx(10 + 0.5 + 4 + 0.5)


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ("emissivity = 0.9", "emissivity = 1.2", "zone 'hose': emissivity", ("1.2", "above 0 to 1")),
        ("emissivity = 0.9", "emissivity = 0", "zone 'hose': emissivity", ("0", "above 0 to 1")),
        ("emissivity = 0.9", "emissivity = true", "zone 'hose': emissivity", ("true", "name of a surface")),
        ("emissivity = 0.5", "emissivity = -1", "heat.region 'inlet': emissivity", ("-1", "above 0 to 1")),
        ('limit = "EPDM hose"', "limit = -300", "zone 'hose': limit", ("-300", "below absolute zero")),
        ('limit = "EPDM hose"', "limit = [1]", "zone 'hose': limit", ("[1]", "name of a class")),
        ("part_temperature = 500", "part_temperature = -274.5", "heat.part_temperature", ("below absolute zero",)),
        ("ambient = 60", "ambient = -280.5", "heat.ambient", ("-280.5", "below absolute zero")),
        ("ambient = 60", 'ambient = "warm"', "heat.ambient", ('"warm" is a string', "write a number")),
        ("temperature = 300", "temperature = 600", "heat", ("region 'inlet' at 600 is hotter", "raise it")),
        ("sphere = { center = [0, 0, 0], diameter = 9 }, ", "", "heat.region 'inlet'", ("exactly one of them",)),
        ("air_speed = 3", "air_speed = -3", "heat.air_speed", ("-3", "at least 0", "m/s")),
        ("standoff = 12", "standoff = 0", "shield.standoff", ("0", "above 0", "mm")),
        ("standoff = 12", "sheets = 3", "shield.sheets", ("3", "1, 2")),
        ("standoff = 12", "stand_off = 12", "shield.stand_off", ("unknown key", "did you mean standoff?")),
    ],
)
def test_faults_are_one_clear_line(tmp_path, old, new, key, words):
    with pytest.raises(InputError) as refused:
        _read(tmp_path, old, new)
    line = str(refused.value)
    assert refused.value.key == key, line
    assert "\n" not in line
    for word in words:
        assert word in line, line
