"""Every fault of a job file is one line: the file, the key in its own words, what was found, what would be right."""

from __future__ import annotations

import tempfile
import tomllib
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.errors import InputError
from clearance.job.read import read_job
from clearance.job.write import toml_value

FOREIGN = ("pydantic", "http", "Input should", "validation", "Traceback", "Field required", "Extra inputs", "literal")
DEMOS = sorted((Path(__file__).resolve().parents[2] / "scans_demo").glob("*.toml"))
BOX = "where = { box = { min = [0, 0, 0], max = [10, 20, 30] } }"
SHAFT = "{ cylinder = { from = [0, 0, 0], to = [0, 300, 0], diameter = 40 }, solid = true }"
PAIR = "part = [50, 0, 0], bay = [150, 0, 0]"
AXIS = "{ point = [0, 0, 250], direction = [0, 1, 0] }"
LANDMARKS = (
    'method = "landmarks"\npair = [\n  { name = "stud 1", part = [0, 0, 0], bay = [100, 0, 0] },\n'
    '  { name = "stud 2", part = [50, 0, 0], bay = [150, 0, 0] },\n'
    '  { name = "stud 3", part = [0, 50, 0], bay = [100, 50, 0] },\n]\nrefine = true'
)
HUGE = "1" + "0" * 400

# old text, new text, key of the line, telling words
ACCESS = '[[access]]\nname = "nut"\n'
SLIDE = "slide = { along = [1, 0, 0], length = 20 }\n"
TOOL = 'tool = { kind = "socket", at = [0, 0, 0], axis = [0, 0, 1] }\n'

CASES: list[tuple[str, str, str, tuple[str, ...]]] = [
    # unknown keys
    ("gap = 20", "gapp = 20", "zone 'frame rail': gapp", ("unknown key", "did you mean gap?")),
    ("[rock]", "[rokc]", "rokc", ("unknown key", "did you mean rock?")),
    ("[part]", "[prt]", "prt", ("did you mean part?",)),
    ("min = [0", "mim = [0", "zone 'frame rail': where.box.mim", ("did you mean min?",)),
    ("from = [0", "from_ = [0", "zone 'left shaft': where.cylinder.from_", ("did you mean from?",)),
    (PAIR, PAIR.replace("bay", "bays"), "register.pair 'stud 2': bays", ("did you mean bay?",)),
    ("title =", "register_ = 1\ntitle =", "register_", ("did you mean register?",)),
    ("title =", 'zones = "x"\ntitle =', "zones", ("unknown key", "did you mean zone?")),
    ("title =", "file = 3\ntitle =", "file", ("unknown key", "part.file")),
    (
        "title =",
        "xyz = 1\ntitle =",
        "xyz",
        ("unknown key", "known keys here: access, bay, datum, decision, engine, heat, link, part, register"),
    ),
    ("gap = 20", "gapp = 20\nfoo = 1\nbar = 2", "zone 'frame rail': gapp", ("(and 2 more)",)),
    ("roll =", "torque = [0.0, 9.0]\nroll =", "rock", ("roll beside", "not both")),
    ("[rock]", f"{ACCESS}[rock]", "access 'nut'", ("nothing to do", "exactly one of slide, tool, path")),
    ("[rock]", f"{ACCESS}path = [{{}}]\n[rock]", "access 'nut': path 1", ("a step that moves nothing",)),
    ("[rock]", f"{ACCESS}{SLIDE}{ACCESS}{SLIDE}[rock]", "access 'nut': name", ("two accesses have this name",)),
    ("[rock]", f"{ACCESS}{TOOL}[rock]", "access 'nut': tool", ("give one of thread", "across_flats")),
    (
        "[rock]",
        f"{ACCESS}{TOOL}".replace("}", ', thread = "M9" }') + "[rock]",
        "access 'nut': tool.thread",
        ("M8", "M10"),
    ),
    # missing, with meaning and unit
    ("gap = 20\n", "", "zone 'frame rail': gap", ("missing", "add it", "mm, clearance required")),
    ("tolerance = 0.3\n", "", "part", ("neither tolerance nor made", "add tolerance")),
    ("accuracy = 0.1\n", "", "bay.accuracy", ("missing", "mm, 1 sigma")),
    ("roll = [-3.0, 4.0]\n", "", "rock", ("no roll", "[lowest, highest], degrees")),
    ('unit = "m"\n', "", "bay.unit", ("missing", "mm cm m in")),
    (BOX + "\n", "", "zone 'frame rail': where", ("missing", "exactly one of box")),
    ("min = [0, 0, 0], ", "", "zone 'frame rail': where.box.min", ("missing", "mm, low corner")),
    ('name = "tank"\n', "", "zone 3: name", ("missing", "name of the zone")),
    # wrong type
    ("gap = 20", 'gap = "20"', "zone 'frame rail': gap", ('"20" is a string', "write a number", "mm, clearance")),
    ("gap = 20", "gap = true", "zone 'frame rail': gap", ("true is a boolean", "write a number")),
    ("gap = 20", "gap = [20]", "zone 'frame rail': gap", ("[20] is an array", "write a number")),
    ("gap = 20", "gap = { mm = 20 }", "zone 'frame rail': gap", ("{ mm = 20 } is a table", "write a number")),
    ("gap = 20", "gap = 2020-01-01", "zone 'frame rail': gap", ("2020-01-01 is a date", "write a number")),
    ("shielded = false", "shielded = 0", "zone 'left shaft': shielded", ("0 is an integer", "write true or false")),
    ("solid = true", 'solid = "yes"', "zone 'left shaft': where.solid", ('"yes" is a string', "true or false")),
    ('name = "tank"', "name = 3", "zone 3: name", ("3 is an integer", "write text in quotes")),
    ('file = "part.stl"', "file = 3", "part.file", ("3 is an integer", "write a file name in quotes")),
    ('["bay one.ply", "sub/bay2.ply"]', '"bay one.ply"', "bay.files", ("is a string", "write an array")),
    ('"sub/bay2.ply"', "3", "bay.files", ("entry 2 of", "3 is an integer", "file name")),
    (SHAFT, '"over there"', "zone 'left shaft': where", ('"over there" is a string', "write a table")),
    (SHAFT, "{ sphere = true, solid = true }", "zone 'left shaft': where.sphere", ("true is a boolean", "table")),
    (AXIS, "[0, 1, 0]", "rock.axis", ("[0, 1, 0] is an array", "write a table")),
    ("[0, 300, 0]", '[0, 300, "0"]', "zone 'left shaft': where.cylinder.to", ("entry 3 of", '"0" is a string')),
    ("[0, 300, 0]", "[0, 300]", "zone 'left shaft': where.cylinder.to", ("[0, 300] has 2 entries", "write 3")),
    ("[0, 300, 0]", "[0, 300, 0, 1]", "zone 'left shaft': where.cylinder.to", ("has 4 entries", "write 3")),
    ("[0, 300, 0]", "300", "zone 'left shaft': where.cylinder.to", ("300 is an integer", "write an array")),
    ("[-3.0, 4.0]", "4", "rock.roll", ("4 is an integer", "write an array", "degrees")),
    ("[decision]\nconfidence", "decision = 3\nother", "rock.decision", ("unknown key", "(and 1 more)")),
    # out of range
    ("gap = 20", "gap = -1", "zone 'frame rail': gap", ("found -1", "at least 0", "mm")),
    ("gap = 20", "gap = nan", "zone 'frame rail': gap", ("found nan", "write a finite number")),
    ("gap = 20", "gap = -inf", "zone 'frame rail': gap", ("found -inf",)),
    ("gap = 20", f"gap = {HUGE}", "zone 'frame rail': gap", ("...", "write a finite number")),
    ("gap = 20", "gap = 0x" + "f" * 9000, "zone 'frame rail': gap", ("too long to show", "write a finite number")),
    ("diameter = 40", "diameter = 0", "zone 'left shaft': where.cylinder.diameter", ("found 0", "write above 0")),
    ("tolerance = 0.3", "tolerance = -0.3", "part.tolerance", ("found -0.3", "at least 0")),
    ("confidence = 0.9", "confidence = 95", "decision.confidence", ("found 95", "write below 1", "probability")),
    ("confidence = 0.9", "confidence = 0.3", "decision.confidence", ("found 0.3", "write at least 0.5")),
    ("[-3.0, 4.0]", "[4.0, -3.0]", "rock.roll", ("reversed", "[-3, 4]")),
    ("[-3.0, 4.0]", "[1.0, 4.0]", "rock.roll", ("[1.0, 4.0]", "contain 0")),
    ("[-3.0, 4.0]", "[-3.0, 400.0]", "rock.roll", ("quarter turn", "degrees from -90 to 90")),
    ("lift = [-2.0, 6.0]", "lift = [2.0, 6.0]", "rock.lift", ("contain 0",)),
    ("up = [0, 0, 1]", "up = [0, 0, 0]", "rock.up", ("[0, 0, 0]", "no length")),
    ("[10, 20, 30]", "[10, -20, 30]", "zone 'frame rail': where.box", ("min 0 is not below max -20 along y",)),
    ("to = [0, 300, 0]", "to = [0, 0, 0]", "zone 'left shaft': where.cylinder", ("the same point",)),
    # choices
    (
        'kind = "axle"',
        'kind = "shaft"',
        "zone 'left shaft': kind",
        ('"shaft"', '"chassis", "axle", "actuator", "line"'),
    ),
    ('unit = "m"', 'unit = "feet"', "bay.unit", ('"feet" is not one of them', '"mm", "cm", "m", "in"')),
    ('method = "landmarks"', 'method = "icp"', "register.method", ('"icp"', '"given", "landmarks"')),
    ('method = "landmarks"', "method = 3", "register.method", ("3 is not one of them", '"given", "landmarks"')),
    ('noise = "auto"', 'noise = "low"', "bay.noise", ('"low" is a string', "write a number", '"auto": measured')),
    ('noise = "auto"', "noise = -0.1", "bay.noise", ("found -0.1", "at least 0")),
    ('noise = "auto"', "noise = { float = 1 }", "bay.noise", ("is a table", "write a number")),
    # one of several
    (BOX, "where = {}", "zone 'frame rail': where", ("none", "exactly one of box")),
    (BOX, BOX.replace("} }", "}, rest = true }"), "zone 'frame rail': where", ("box and rest", "exactly one")),
    (', unit = "in"', "", "zone 'tank': where", ("file without unit", "mm")),
    ("rest = true", 'rest = true, unit = "mm"', "zone 'all else': where", ("unit without file",)),
    ("rest = true", "rest = true, solid = true", "zone 'all else': where", ("solid beside rest",)),
    ("gap_shielded = 12.0\nshielded = false", "shielded = true", "zone 'left shaft'", ("add gap_shielded, mm",)),
    ('method = "landmarks"', 'method = "given"', "register", ("without a place", "matrix, or shift")),
    ("refine = true", "refine = true\nshift = [0, 0, 0]", "register", ('beside method "landmarks"',)),
    ('  { name = "stud 2", ' + PAIR + " },\n", "", "register", ("2 landmark pair(s)", "3 or more")),
    (LANDMARKS, 'method = "given"\nmatrix = [[1, 0, 0, 0]]', "register.matrix", ("has 1 entry", "write 4")),
    (
        LANDMARKS,
        'method = "given"\nmatrix = [[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1], [0, 0, 0, 1]]',
        "register.matrix",
        ("[0, 0, 1] has 3 entries", "write 4"),
    ),
    (LANDMARKS, 'method = "given"\nturn = 30', "register.turn", ("30 is an integer", "write a table")),
    # numbers that no sum of squares would survive
    ("direction = [0, 1, 0]", "direction = [0, 1e200, 0]", "rock.axis.direction", ("larger than anything", "1e+10")),
    ("gap = 20", "gap = 1e300", "zone 'frame rail': gap", ("larger than anything", "1e+10")),
    ("tolerance = 0.3", "tolerance = 1e200", "part.tolerance", ("larger than anything", "1e+10")),
    # names and text
    ('name = "tank"', 'name = ""', "zone '': name", ("write a name",)),
    ('name = "tank"', 'name = "a\\nb"', "zone 'a\\nb': name", ("line break", "one line")),
    ('name = "tank"', f'name = "{"x" * 51}"', f"zone '{'x' * 51}': name", ("51 characters", "write 50 at most")),
    ('title = "Log manifold"', 'title = "a\\u001b[2J"', "title", ("control character",)),
    ('name = "tank"', 'name = "frame rail"', "zone 'frame rail': name", ("two zones", "give each its own")),
    ('name = "tank"', 'name = "Left_Shaft"', "zone 'Left_Shaft': name", ("same file names", "'left shaft'")),
    # across tables
    (BOX, "where = { rest = true }", "zone 'all else': where.rest", ("'frame rail'", "keep one")),
    ('[[zone]]\nname = "frame rail"', '[zone]\nname = "frame rail"', "", ("not TOML",)),
    # files
    ('file = "part.stl"', 'file = "none.stl"', "part.file", ("none.stl: no such file", "relative to the job file")),
    ('file = "part.stl"', 'file = "sub"', "part.file", ("sub: not a file",)),
    ('file = "part.stl"', 'file = ""', "part.file", ("no file name", "name a file")),
    ('file = "part.stl"', f'file = "{"a" * 300}"', "part.file", ("File name too long",)),
    ('file = "part.stl"', 'file = "a\\u0000b"', "part.file", ("a\\x00b: no such file",)),
    ('"sub/bay2.ply"', '"none.ply"', "bay.files", ("none.ply: no such file",)),
    ('"sub/bay2.ply"', '"sub/../bay one.ply"', "bay.files", ("same file as bay one.ply", "list it once")),
    ('"tank.stl"', '"none.stl"', "zone 'tank': where.file", ("none.stl: no such file",)),
]


@pytest.mark.parametrize("case", CASES, ids=lambda c: f"{c[2] or 'toml'}<-{c[1][:30]}".replace("\n", " "))
def test_one_line_names_file_key_and_what_would_be_right(case, disk):
    old, new, key, telling = case
    disk.edit((old, new))
    line = disk.refusal()
    place = f"{disk.job}: {key}: " if key else f"{disk.job}: "
    assert line.startswith(place), line
    _assert_plain(line)
    for words in telling:
        assert words in line[len(place) :], line


def test_the_file_is_named_as_the_user_wrote_it(disk, monkeypatch):
    disk.edit(("gap = 20", "gap = -1"))
    monkeypatch.chdir(disk.folder)
    with pytest.raises(InputError) as refused:
        read_job(Path("job.toml"))
    assert str(refused.value).startswith("job.toml: zone 'frame rail': gap: ")


def test_a_job_with_every_table_is_read(disk):
    job = disk.read()
    assert job.file == disk.job
    assert [zone.name for zone in job.zones] == ["frame rail", "left shaft", "tank", "all else"]
    assert [zone.where.is_body for zone in job.zones] == [False, True, True, False]
    assert job.zones[0].gap == 20.0
    assert job.zones[0].rides == "chassis"
    assert job.rock is not None
    assert job.rock.roll == (-3.0, 4.0)
    assert job.path(job.bay.files[1]) == disk.folder / "sub/bay2.ply"


@pytest.mark.parametrize(
    ("content", "telling"),
    [
        (b"", "empty"),
        (b" \n\t\n", "empty"),
        (b'title = "\xff"', "not UTF-8 text (byte 9)"),
        (b"a = 1\n\n\nb ==\n", "line 4"),
        (b"a = 1\na = 2\n", "line 2"),
        (b"a = 1\nb = [1,\n2\n", "line 3"),
        (b"a = " + b"[" * 5000, "nesting"),
        (b"a = 1" + b"0" * 5000, "number"),
        (b"# nothing but a comment\n", "part: missing"),
    ],
)
def test_what_is_no_job_at_all(content, telling, disk):
    disk.job.write_bytes(content)
    line = disk.refusal()
    assert line.startswith(f"{disk.job}: ")
    assert telling in line
    _assert_plain(line)


@pytest.mark.parametrize(("name", "telling"), [
    ("none.toml", "no such job file"), ("sub", "not a file"), ("job.toml/x", "no such job file"),
    ("a" * 300, "File name too long"),
])  # fmt: skip
def test_a_path_that_is_no_file(name, telling, disk):
    with pytest.raises(InputError, match=telling):
        read_job(disk.folder / name)


def test_bom_and_crlf_are_read(disk):
    plain = disk.read()
    disk.job.write_bytes(b"\xef\xbb\xbf" + disk.job.read_bytes().replace(b"\n", b"\r\n"))
    assert disk.read() == plain


@pytest.mark.parametrize("name", ["part.stl", "sub/bay2.ply", "tank.stl"])
def test_an_empty_file_is_refused(name, disk):
    (disk.folder / name).write_bytes(b"")
    assert f"{name}: the file is empty" in disk.refusal()


def _without_bay(disk, *swaps):
    text = disk.job.read_text()
    disk.job.write_text(text[: text.index("[bay]")] + text[text.index("[register]") :])
    disk.edit(*swaps)


def test_without_bay_a_net_for_points_is_refused(disk):
    _without_bay(disk)
    assert disk.refusal().startswith(f"{disk.job}: zone 'frame rail': where: needs scan points")


def test_without_bay_refine_is_refused(disk):
    _without_bay(disk, ("} }\ngap = 20", "}, solid = true }\ngap = 20"), ("{ rest = true }", SHAFT))
    assert disk.refusal().startswith(f"{disk.job}: register.refine: needs scan points")


def test_without_bay_bodies_are_enough_and_a_rock_may_move_nothing(disk):
    _without_bay(
        disk, ("} }\ngap = 20", "}, solid = true }\ngap = 20"), ("{ rest = true }", SHAFT), ("refine = true\n", ""),
        ('rides = "engine"\nmaterial', 'rides = "chassis"\nmaterial'), ('rides = "engine"\nwhere', "where"),
    )  # fmt: skip
    assert disk.read().bay is None


def test_names_in_other_scripts_are_told_apart(disk):
    disk.edit(('name = "tank"', 'name = "рама"'), ('name = "left shaft"', 'name = "вал"'))
    assert disk.read().zones[2].name == "рама"


@pytest.mark.parametrize("demo", DEMOS, ids=lambda p: p.stem)
def test_demo_jobs_are_read(demo):
    assert read_job(demo).zones


def test_there_are_demo_jobs():
    assert len(DEMOS) >= 3


def _paths(tree, at=()):
    """Yield the path of every value in a tree."""
    yield at
    children = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in children:
        yield from _paths(value, (*at, key))


VALUES = st.recursive(
    st.one_of(st.booleans(), st.integers(), st.floats(), st.text(max_size=8), st.dates(), st.times()),
    lambda inner: (
        st.lists(inner, max_size=4)
        | st.dictionaries(
            st.sampled_from(["min", "name", "gap", "auto", "box", "x y", "float", "axis"]), inner, max_size=3
        )
    ),
    max_leaves=5,
)


@given(data=st.data())
def test_any_other_value_anywhere_is_refused_in_one_plain_line(data, full_text):
    tree = tomllib.loads(full_text)
    for _ in range(data.draw(st.integers(1, 2))):
        at = data.draw(st.sampled_from(sorted((p for p in _paths(tree) if p), key=str)))
        node = tree
        for step in at[:-1]:
            node = node[step]
        if data.draw(st.integers(0, 3)):
            node[at[-1]] = data.draw(VALUES)
        else:
            del node[at[-1]]
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder) / "job.toml"
        job.write_text("\n".join(f"{k} = {toml_value(v)}" for k, v in tree.items()), "utf-8")
        with pytest.raises(InputError) as refused:
            read_job(job)
    line = str(refused.value)
    assert line.startswith(f"{job}: ")
    assert "; " in line
    _assert_plain(line)


def _assert_plain(line: str) -> None:
    assert line.isprintable(), line
    assert not [word for word in FOREIGN if word.lower() in line.lower()], line
