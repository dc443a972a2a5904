"""Datums in a job: read, written back, and every slip of names, kinds and places refused in one line."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from clearance.job.datum import Datum, Edge, Face, Hole, Stud
from clearance.job.read import read_job
from clearance.job.write import job_text

SET = (
    'set = [{ part = "flange", bay = "port face" }, { part = "hole 1", bay = "stud 1" }, '
    '{ part = "edge 1", bay = "lip" }]'
)
TABLES = """\
[[datum]]
name = "flange"
on = "part"
face = { point = [0, 0, 0], normal = [0, 0, -1], radius = 40 }
[[datum]]
name = "port face"
on = "bay"
face = { point = [500, 0, 0], normal = [0, 0, 1], radius = 40 }
[[datum]]
name = "hole 1"
on = "part"
hole = { center = [30, 0, 0], axis = [0, 0, 1], diameter = 9 }
[[datum]]
name = "stud 1"
on = "bay"
stud = { center = [530, 0, 0], axis = [0, 0, 1], diameter = 8, length = 25 }
[[datum]]
name = "edge 1"
on = "part"
edge = { from = [0, 50, 0], to = [60, 50, 0] }
[[datum]]
name = "lip"
on = "bay"
edge = { from = [500, 50, 0], to = [560, 50, 0] }
"""


@pytest.fixture
def seated(disk):
    """The full job with its part seated on datums instead of landmarks."""
    text = disk.job.read_text()
    start, end = text.index('method = "landmarks"'), text.index("refine = true")
    text = f'{text[:start]}method = "datums"\n{SET}\n{text[end:]}'.replace("[rock]", TABLES + "[rock]")
    disk.job.write_text(text)
    return disk


def test_datums_are_read(seated):
    job = seated.read()
    assert [(d.name, d.on, d.kind) for d in job.datums] == [
        ("flange", "part", "face"), ("port face", "bay", "face"), ("hole 1", "part", "hole"),
        ("stud 1", "bay", "stud"), ("edge 1", "part", "edge"), ("lip", "bay", "edge"),
    ]  # fmt: skip
    assert [(pair.part, pair.bay) for pair in job.register_.set_][1] == ("hole 1", "stud 1")
    assert job.datums[3].stud is not None
    assert job.datums[3].stud.length == 25


def test_datums_are_written_and_read_back(seated):
    job = seated.read()
    seated.job.write_text(job_text(job, seated.folder), "utf-8")
    again = read_job(seated.job)
    assert again.datums == job.datums
    assert again.register_ == job.register_


# old text, new text, key of the line, telling words
CASES = [
    ('bay = "port face"', 'bay = "port fase"', "register.set 1: bay", ("no datum", "did you mean 'port face'?")),
    ('part = "hole 1"', 'part = "xyzzy"', "register.set 2: part", ("on the part: 'edge 1', 'flange', 'hole 1'",)),
    ('bay = "stud 1"', 'bay = "flange"', "register.set 2: bay", ("not on the bay", 'on = "bay"')),
    ('bay = "stud 1"', 'bay = "lip"', "register.set 2", ("'hole 1' (hole)", "'lip' (edge)", "face with face")),
    ('bay = "lip"', 'bay = "port face"', "register.set 3", ("'edge 1' (edge)", "'port face' (face)")),
    ('{ part = "flange", bay = "port face" }, ', "", "register.set", ("no face among the pairs", "3-2-1")),
    ('{ part = "edge 1", bay = "lip" }', '{ part = "flange", bay = "port face" }', "register.set 3",
     ("'flange' is in another pair", "once")),
    ('name = "lip"', 'name = "stud 1"', "datum 'stud 1': name", ("two datums have this name",)),
    (SET, "", "register", ('method "datums" without set', "add set")),
    ('method = "datums"', 'method = "given"\nshift = [0, 0, 0]', "register", ('set beside method "given"',)),
    ('method = "datums"', 'method = "datums"\nshift = [0, 0, 0]', "register", ('beside method "datums"',)),
    ('method = "datums"', 'method = "datum"', "register.method", ('"given", "landmarks", "datums"',)),
    ("normal = [0, 0, -1], radius = 40", "normal = [0, 0, -1]", "datum 'flange': face.radius", ("missing", "the disc")),
    ("diameter = 9", "diameter = 0", "datum 'hole 1': hole.diameter", ("found 0", "above 0")),
    ("diameter = 9", "diamter = 9", "datum 'hole 1': hole.diamter", ("did you mean diameter?",)),
    ("axis = [0, 0, 1], diameter = 9", "axis = [0, 0, 0], diameter = 9", "datum 'hole 1': hole.axis", ("no length",)),
    ("to = [60, 50, 0]", "to = [0, 50, 0]", "datum 'edge 1': edge", ("the same point",)),
    ("edge = { from = [0, 50, 0], to = [60, 50, 0] }\n", "", "datum 'edge 1'", ("no feature", "exactly one of face")),
    ('name = "lip"\non = "bay"', 'name = "lip"\non = "engine"', "datum 'lip': on", ('"part", "bay"',)),
    (SET, 'set = { part = "flange", bay = "port face" }', "register.set", ("this is one table", "[ { }, { }, ... ]")),
    (SET, 'set = [{ part = "flange" }]', "register.set 1: bay", ("missing", "name of a datum in the bay")),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c[2]}<-{c[1][:30]}")
def test_a_slip_is_refused_in_one_line(case, seated):
    old, new, key, telling = case
    seated.edit((old, new))
    line = seated.refusal()
    assert line.startswith(f"{seated.job}: {key}: "), line
    assert line.isprintable()
    for words in telling:
        assert words in line, line


def test_one_datum_table_in_single_brackets(disk):
    disk.edit(("[rock]", '[datum]\nname = "x"\non = "bay"\n[rock]'))
    assert "[[datum]], in double brackets" in disk.refusal()


def test_without_a_scan_there_is_nothing_to_fit(seated):
    text = seated.job.read_text()
    text = text[: text.index("[bay]")] + text[text.index("[register]") :]
    seated.job.write_text(text.replace("refine = true\n", ""))
    assert seated.refusal().startswith(f"{seated.job}: register.method: datums of the bay are fitted to scan points")


def test_hole_on_hole_and_datums_that_are_not_used_are_right(seated):
    seated.edit(
        ("stud = { center = [530, 0, 0], axis = [0, 0, 1], diameter = 8, length = 25 }",
         "hole = { center = [530, 0, 0], axis = [0, 0, 1], diameter = 9 }"),
        (', { part = "edge 1", bay = "lip" }]', "]"),
    )  # fmt: skip
    assert len(seated.read().register_.set_) == 2


@pytest.mark.parametrize("also", ["hole", "edge"])
def test_a_datum_is_one_feature(also):
    features = {
        "face": {"point": (0, 0, 0), "normal": (0, 0, 1), "radius": 1},
        "hole": {"center": (0, 0, 0), "axis": (0, 0, 1), "diameter": 1},
        "edge": {"from": (0, 0, 0), "to": (0, 0, 1)},
    }
    both = {kind: features[kind] for kind in ("face", also)}
    with pytest.raises(ValidationError, match=f"face and {also}; give exactly one"):
        Datum.model_validate({"name": "x", "on": "bay", **both})


def test_every_key_says_what_it_means_and_numbers_their_unit():
    numbers = 0
    for table in (Datum, Face, Hole, Stud, Edge):
        for key, field in table.model_fields.items():
            assert field.description, f"{table.__name__}.{key}"
            if "float" in str(field.annotation):
                numbers += 1
                assert any(unit in field.description for unit in ("mm", "any length")), f"{table.__name__}.{key}"
    assert numbers >= 10
