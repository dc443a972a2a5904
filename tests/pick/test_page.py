"""The pick page as a file: what it refuses, what it holds, and that it is written whole or not at all."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import trimesh

from clearance.errors import InputError
from clearance.pick import page as pick
from clearance.pick.normals import normals
from clearance.pick.page import pick_page, write_pick_page


@pytest.fixture
def scan(tmp_path: Path) -> Path:
    x, y = np.meshgrid(np.arange(0, 200, 4.0), np.arange(0, 120, 4.0))
    path = tmp_path / "bay.ply"
    trimesh.PointCloud(np.column_stack([x.ravel(), y.ravel(), np.full(x.size, 30.0)]) / 10).export(path)
    return path


def data(text: str) -> dict:
    return json.loads(re.search(r'<script type="application/json" id="scan">(.*?)</script>', text)[1])


def test_it_holds_every_point_in_mm(scan: Path):
    held = data(pick_page(scan, "cm"))
    assert held["points"]["n"] == 50 * 30
    assert held["origin"] == [98.0, 58.0, 30.0]


def test_a_part_of_the_scan(scan: Path):
    # Grid of 4 mm about (100, 60): 5 points of it lie within 4.5 mm.
    assert data(pick_page(scan, "cm", (100.0, 60.0, 30.0, 4.5)))["points"]["n"] == 5
    with pytest.raises(InputError, match="no point within 3 mm"):
        pick_page(scan, "cm", (500.0, 0.0, 0.0, 3.0))


def test_a_scan_that_is_too_large_is_thinned_and_the_page_says_so(scan: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(pick, "MOST_POINTS", 400)
    text = pick_page(scan, "cm")
    assert data(text)["points"]["n"] <= 400
    assert "1,500 points, thinned to" in text
    assert "--around" in text
    assert "--around" not in pick_page(scan, "cm", (100.0, 60.0, 30.0, 30.0))


@pytest.mark.parametrize(
    ("name", "unit", "said"),
    [("bay.ply", None, "add --unit"), ("bay.ply", "furlong", "unknown unit"), ("none.ply", "mm", "no such file"),
     ("none.ply", None, "no such file"), ("bay.ply", "m", "wrong unit")],
)  # fmt: skip
def test_bad_input_is_told_in_one_line(scan: Path, name: str, unit: str | None, said: str):
    path = scan.with_name(name)
    if unit == "m":
        trimesh.PointCloud(np.random.default_rng(1).uniform(0, 400, (50, 3))).export(path)
    with pytest.raises(InputError, match=said) as fault:
        pick_page(path, unit)
    assert "\n" not in str(fault.value)


def test_the_name_is_text(scan: Path):
    evil = scan.with_name("<b>&bay.ply")
    scan.rename(evil)
    text = pick_page(evil, "cm")
    assert "<b>" not in text
    assert "&lt;b&gt;&amp;bay.ply" in text
    assert "://" not in text


def test_it_is_written_whole_or_not_at_all(tmp_path: Path):
    write_pick_page("<p>one</p>", tmp_path / "deep" / "page.html")
    assert (tmp_path / "deep" / "page.html").read_text() == "<p>one</p>"
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="nothing was written"):
        write_pick_page("two", tmp_path / "file" / "page.html")
    assert [path.name for path in (tmp_path / "deep").iterdir()] == ["page.html"]


def test_only_a_page_is_overwritten(scan: Path):
    before = scan.read_bytes()
    with pytest.raises(InputError, match="html"):
        write_pick_page("page", scan)
    assert scan.read_bytes() == before


def test_normals_of_a_slope():
    rng = np.random.default_rng(1)
    x, y = rng.uniform(0, 100, (2, 2000))
    found = normals(np.column_stack([x, y, 0.5 * x]))
    wanted = np.array([-0.5, 0, 1]) / np.sqrt(1.25)
    assert np.abs(np.abs(found @ wanted) - 1).max() < 1e-9
    assert not normals(np.zeros((3, 3))).any()


def test_the_command(scan: Path):
    done = subprocess.run(
        [sys.executable, "-m", "clearance", "pick", scan.name, "--unit", "cm"],
        cwd=scan.parent, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "bay_pick.html" in done.stdout
    assert (scan.parent / "bay_pick.html").exists()
    bare = subprocess.run(
        [sys.executable, "-m", "clearance", "pick", scan.name],
        cwd=scan.parent,
        capture_output=True,
        text=True,
        check=False,
    )
    assert bare.returncode == 2
    assert "add --unit" in bare.stderr


def test_a_scan_of_an_odd_size_is_told_in_one_line(tmp_path: Path):
    # 1000 x 600 mm in inches: read as mm it is 45.9 mm across, as inches 1166 mm.
    x, y = np.meshgrid(np.linspace(0, 1000, 40), np.linspace(0, 600, 30))
    path = tmp_path / "inch.ply"
    trimesh.PointCloud(np.column_stack([x.ravel(), y.ravel(), 0 * x.ravel()]) / 25.4).export(path)
    told: list[str] = []
    pick_page(path, "in", warn=told.append)
    pick_page(path, "in", (500.0, 300.0, 0.0, 60.0), told.append)
    assert told == []
    pick_page(path, "mm", warn=told.append)
    (line,) = told
    for words in ("inch.ply", "46 mm across", "300 to 8000 mm", 'is its unit "in"?'):
        assert words in line


def test_the_command_says_that_it_replaces_a_page(scan: Path):
    def said() -> str:
        command = [sys.executable, "-m", "clearance", "pick", scan.name, "--unit", "cm"]
        done = subprocess.run(command, cwd=scan.parent, capture_output=True, text=True, check=True)
        assert len(done.stderr.splitlines()) == 1
        assert "228 mm across" in done.stderr
        return done.stdout

    assert "in place of" not in said()
    assert "in place of the one that was there" in said()
