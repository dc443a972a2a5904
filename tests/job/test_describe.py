"""The reference of keys tells all the schema knows, and every job shown in the docs uses known keys only."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from clearance.job.describe import describe

ROOT = Path(__file__).resolve().parents[2]
SHOWN = [*sorted((ROOT / "scans_demo").glob("*.toml")), ROOT / "clearance/job/starter.toml"]


def _keys() -> set[str]:
    """Return the reference's keys as dotted paths, arrays as []."""
    keys, table = set(), ""
    for line in describe().splitlines():
        if heading := re.match(r"\[+(\w+)\]+ ", line):
            table = heading[1] + "."
            keys.add(heading[1])
        elif key := re.match(r"  ([a-z][\w.\[\]]*)  ", line):
            keys.add(table + key[1].replace("[]", ""))
    return keys


def _used(tree: object, at: str = "") -> set[str]:
    if isinstance(tree, list):
        return set().union(*(_used(item, at) for item in tree if isinstance(item, dict)))
    if not isinstance(tree, dict):
        return set()
    return set().union(*({f"{at}{key}"} | _used(value, f"{at}{key}.") for key, value in tree.items()))


def _toml_in_docs() -> list[str]:
    return [
        block
        for path in (ROOT / "README.md", ROOT / "DEVELOPERS.md")
        for block in re.findall(r"```toml\n(.*?)```", path.read_text("utf-8"), re.DOTALL)
    ]


# Table, key, and what the line must tell; written by hand from the wants of a user, not from the output.
WANTED = [
    ("part.file", "file name", "required", "STL"),
    ("part.unit", '"mm" | "cm" | "m" | "in"', "required", "unit"),
    ("part.rides", '"engine"', 'default "engine"', "moves"),
    ("part.tolerance", "number >= 0", "optional", "mm"),
    ("bay.noise", '"auto" or number >= 0', 'default "auto"', "1 sigma"),
    ("register.matrix", "4 rows of 4 numbers", "optional", "T_bay_part"),
    ("register.pair.bay", "3 numbers", "required", "mm"),
    ("zone.where.box.min", "3 numbers", "required", "low corner"),
    ("zone.where.cylinder.from", "3 numbers", "required", "end of the axis"),
    ("zone.gap", "number >= 0", "required", "mm"),
    ("zone.shielded", "true | false", "default false", "gap_shielded applies"),
    ("rock.roll", "2 numbers", "optional", "degrees"),
    ("rock.up", "3 numbers", "default [0.0, 0.0, 1.0]", "lift"),
    ("decision.confidence", "number >= 0.5 < 1", "default 0.95", "probability"),
]


@pytest.mark.parametrize("wanted", WANTED, ids=lambda w: w[0])
def test_a_line_tells_type_need_unit_and_meaning(wanted):
    name, *telling = wanted
    table, key = name.split(".", 1)
    block = re.split(r"\n(?=\[)", describe())
    (part,) = [b for b in block if re.match(rf"\[+{table}\]+ ", b)]
    key = key.replace("pair.", "pair[].")
    (entry,) = re.findall(rf"^  {re.escape(key)}  .*(?:\n {{6,}}\S.*)*", part, re.MULTILINE)
    entry = " ".join(entry.split())
    for words in telling:
        assert words in entry


@pytest.mark.parametrize("job", SHOWN, ids=lambda p: p.stem)
def test_every_key_of_a_shown_job_is_in_the_reference(job):
    used = _used(tomllib.loads(job.read_text("utf-8")))
    assert {"part.file", "register.method", "zone.where"} <= used
    assert not used - _keys()


def test_the_docs_agree_with_the_reference():
    for block in _toml_in_docs():
        assert not _used(tomllib.loads(block)) - _keys()
    readme = (ROOT / "README.md").read_text("utf-8")
    formats = set(re.findall(r"\b(?:[A-Z]{3}|[A-Z]\d{2}|\d[A-Z]{2})\b", describe())) - {"TOML"}
    assert {"STL", "3MF", "E57", "PLY"} <= formats
    assert not {name for name in formats if not re.search(rf"\b{name}\b", readme)}
    assert "new --keys" in readme


def test_own_names_of_the_program_do_not_show():
    assert not {"register_", "zones", "file", "zone.where.cylinder.from_"} & _keys()


def test_it_fits_a_terminal_and_every_table_is_there():
    assert max(map(len, describe().splitlines())) <= 118
    assert {"title", "part", "bay", "register", "zone", "rock", "decision"} <= _keys()
