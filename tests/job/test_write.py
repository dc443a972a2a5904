"""The effective job reads back as the same job, from any folder, whatever is in its names."""

from __future__ import annotations

import tempfile
import tomllib
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.job.check import slug
from clearance.job.read import read_job
from clearance.job.schema import Job
from clearance.job.write import job_text, toml_value

NUMBERS = st.floats(-1e6, 1e6)
NOT_NEGATIVE = st.floats(0, 1e6)
POINTS = st.tuples(NUMBERS, NUMBERS, NUMBERS)
DIRECTIONS = POINTS.filter(lambda v: max(map(abs, v)) > 1e-3)
LINES = st.text(st.characters(exclude_categories=["Cs", "Cc", "Zl", "Zp"]), min_size=1, max_size=50).filter(
    lambda s: s.strip()
)
FILES = st.sampled_from(
    ["a.stl", "sub/b c.stl", "q\"uo'te.ply", "back\\slash.ply", "ü#=[x].stl", "../beside.stl", "./sub/../dot.stl"]
)
UNITS = st.sampled_from(["mm", "cm", "m", "in"])
RANGES = st.tuples(st.floats(-90, 0), st.floats(0, 90))
RODS = st.fixed_dictionaries(
    {"from": POINTS, "to": POINTS.map(lambda p: (p[0] + 3e6, p[1], p[2])), "diameter": st.floats(1e-3, 1e3)}
)
BOXES = st.tuples(POINTS, st.floats(1, 1e3)).map(lambda b: {"min": list(b[0]), "max": [x + b[1] for x in b[0]]})
NETS = st.one_of(
    BOXES.map(lambda b: {"box": b}),
    RODS.map(lambda r: {"cylinder": r}),
    RODS.map(lambda r: {"capsule": r}),
    st.fixed_dictionaries({"center": POINTS, "diameter": st.floats(1e-3, 1e3)}).map(lambda s: {"sphere": s}),
)
BODIES = st.one_of(NETS.map(lambda net: {**net, "solid": True}), st.fixed_dictionaries({"file": FILES, "unit": UNITS}))
ROCKS = st.fixed_dictionaries(
    {"axis": st.fixed_dictionaries({"point": POINTS, "direction": DIRECTIONS}), "roll": RANGES},
    optional={"up": DIRECTIONS, "forward": DIRECTIONS, "lift": RANGES, "shift": RANGES},
)
GIVEN = st.fixed_dictionaries(
    {"method": st.just("given"), "shift": POINTS},
    optional={
        "turn": st.fixed_dictionaries({"axis": DIRECTIONS, "degrees": NUMBERS}),
        "sigma_shift": NOT_NEGATIVE, "sigma_turn": NOT_NEGATIVE,
    },
)  # fmt: skip
MATRIX = st.tuples(*[st.tuples(*[NUMBERS] * 4)] * 4).map(lambda m: {"method": "given", "matrix": m})
LANDMARKS = st.lists(st.fixed_dictionaries({"name": LINES, "part": POINTS, "bay": POINTS}), min_size=3, max_size=5).map(
    lambda pairs: {"method": "landmarks", "pair": pairs}
)
PARTS = st.fixed_dictionaries(
    {"file": FILES, "unit": UNITS, "tolerance": NOT_NEGATIVE},
    optional={"rides": st.sampled_from(["engine", "chassis"]), "material": LINES},
)
BAYS = st.fixed_dictionaries(
    {"files": st.lists(FILES, min_size=1, max_size=3, unique=True), "unit": UNITS, "accuracy": NOT_NEGATIVE},
    optional={"noise": st.just("auto") | NOT_NEGATIVE},
)


def _zones(where):
    shields = st.just({}) | st.fixed_dictionaries({"gap_shielded": NOT_NEGATIVE, "shielded": st.booleans()})
    zone = st.fixed_dictionaries(
        {
            "name": LINES, "kind": st.sampled_from(["chassis", "axle", "actuator", "line", "access"]),
            "rides": st.sampled_from(["engine", "chassis"]), "where": where, "gap": NOT_NEGATIVE,
        }
    )  # fmt: skip
    both = st.tuples(zone, shields).map(lambda z: {**z[0], **z[1]})
    return st.lists(both, min_size=1, max_size=4, unique_by=lambda z: slug(z["name"]))


@st.composite
def jobs(draw, file: Path) -> Job:
    bay = draw(st.none() | BAYS)
    tree = {
        "title": draw(LINES), "part": draw(PARTS), "register": draw(GIVEN | MATRIX | LANDMARKS),
        "zone": draw(_zones(BODIES if bay is None else BODIES | NETS)),
        "decision": {"confidence": draw(st.floats(0.5, 0.999))}, "file": file,
    }  # fmt: skip
    if bay is not None:
        tree["bay"] = bay
        tree["register"]["refine"] = draw(st.booleans())
    rock = draw(st.none() | ROCKS)
    return Job.model_validate({**tree, "rock": rock})


def _named(job: Job) -> list[Path]:
    """Return every file a job names, as the system knows it."""
    files = [job.part.file, *(job.bay.files if job.bay else ())]
    files += [zone.where.file for zone in job.zones if zone.where.file is not None]
    return [job.path(file).resolve() for file in files]


def _but_files(job: Job) -> dict:
    tree = job.model_dump()
    tree["part"].pop("file")
    if tree["bay"]:
        tree["bay"].pop("files")
    for zone in tree["zones"]:
        zone["where"].pop("file")
    return tree


@given(data=st.data(), where=st.sampled_from(["jobs", "jobs/report", "other/deep er/report", "."]))
def test_read_back_from_any_folder_it_is_the_same_job(data, where):
    with tempfile.TemporaryDirectory() as root:
        job = data.draw(jobs(Path(root) / "jobs" / "job.toml"))
        (Path(root) / "jobs/sub").mkdir(parents=True)
        for file in _named(job):
            file.write_bytes(b"x")
        folder = Path(root) / where
        text = job_text(job, folder)
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "job.toml").write_text(text, encoding="utf-8")
        try:
            again = read_job(folder / "job.toml")
        except Exception as fault:
            if "same file as" in str(fault):  # two spellings of one scan in the drawn job: refused as it should be
                return
            raise
        assert _named(again) == _named(job)
        assert _but_files(again) == _but_files(job)
        assert not any(Path(p).is_absolute() for p in _paths_in(text))


def _paths_in(text: str) -> list[str]:
    tree = tomllib.loads(text)
    zones = [zone["where"]["file"] for zone in tree["zone"] if "file" in zone["where"]]
    return [tree["part"]["file"], *tree.get("bay", {}).get("files", []), *zones]


def test_every_default_is_filled_in(disk):
    disk.edit(('rides = "engine"\nmaterial = "316L"\n', ""), ("[decision]\nconfidence = 0.9\n", ""))
    disk.edit(("up = [0, 0, 1]\nforward = [1, 0, 0]\nlift = [-2.0, 6.0]\nshift = [-1.0, 2.0]\n", ""))
    tree = tomllib.loads(job_text(disk.read(), disk.folder))
    assert tree["part"]["rides"] == "engine"
    assert "material" not in tree["part"]
    assert tree["decision"] == {"confidence": 0.95}
    assert tree["bay"]["noise"] == "auto"
    assert tree["rock"]["up"] == [0, 0, 1]
    assert tree["rock"]["lift"] == [0, 0]
    assert tree["zone"][0]["rides"] == "chassis"
    assert tree["zone"][0]["shielded"] is False


def test_files_are_relative_to_the_folder_with_forward_slashes(disk):
    tree = tomllib.loads(job_text(disk.read(), disk.folder / "report"))
    assert tree["part"]["file"] == "../part.stl"
    assert tree["bay"]["files"] == ["../bay one.ply", "../sub/bay2.ply"]
    assert tree["zone"][2]["where"] == {"file": "../tank.stl", "unit": "in", "rest": False, "solid": False}


def test_a_zones_place_stays_in_one_line(disk):
    lines = job_text(disk.read(), disk.folder).splitlines()
    assert sum(line.startswith("where = {") and line.endswith("}") for line in lines) == 4


TOML = st.recursive(
    st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False) | st.text() | st.dates(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=6), inner, max_size=4),
    max_leaves=12,
)


@given(TOML)
def test_any_value_reads_back(value):
    assert tomllib.loads(f"x = {toml_value(value)}") == {"x": value}


def test_a_type_that_toml_lacks_is_refused():
    assert toml_value(date(2001, 2, 3)) == "2001-02-03"
    with pytest.raises(TypeError, match="NoneType"):
        toml_value(None)
