"""`clearance move` and `clearance room` as a user meets them."""

from __future__ import annotations

import json
import shlex

import numpy as np
import pytest
from PIL import Image

from clearance.moves.cells import Decider

GUARD_MM = 1.645 * 0.1 / np.sqrt(3)
"""One-sided 95 % of a tolerance of 0.1 mm, rectangular: the only doubt of the job (JCGM 100:2008, 4.3.7)."""

WIDTH_MM = 0.1
"""What `room` asks for beyond a check, at most, for the widths of its bounds."""


def test_room_finds_the_smallest_move_and_move_proves_that_it_passes(job, run, tmp_path):
    """The wall asks for 28 + guard, 25 is there; the other wall leaves 20 mm less its guard."""
    out = tmp_path / "room"
    ended = run("room", job, "--y", -16, 16, "--step", 0.5, 1, "--workers", 1, "-q", "-o", out)
    assert ended.code == 0, ended.err
    tree = json.loads((out / "room.json").read_text())
    shift = tree["smallest"]["move"]
    step = 32 / tree["cells_a_side"][1]
    least = 3 + GUARD_MM
    assert shift[0] == shift[2] == 0
    assert least <= -shift[1] <= least + WIDTH_MM + step
    assert least - WIDTH_MM - step <= tree["smallest"]["none_below_mm"] <= least + WIDTH_MM
    assert tree["today"] == "blocked"
    assert tree["smallest"]["verdict_there"] == "pass"
    free = (16 - least) / 32
    assert tree["share"]["free"] == pytest.approx(free, abs=(2 * step + 2 * WIDTH_MM) / 32)
    assert tree["smallest"]["command"] in ended.out
    words = shlex.split(tree["smallest"]["command"])[1:]
    applied = run(*words, "-q", "-o", tmp_path / "moved")
    assert applied.code == 0, applied.out
    assert "freed: wall" in applied.out
    assert "An aid, not an approval" in applied.out


def test_room_tells_the_largest_box_about_a_job_that_passes(job, run, tmp_path):
    """With 20 mm required of the wall the bar may go 5 mm less guard nearer, and 20 mm less guard away."""
    job.write_text(job.read_text().replace("gap = 28", "gap = 20"))
    out = tmp_path / "room"
    ended = run("room", job, "--y", -30, 10, "--x", -4, 4, "--step", 0.5, 1, "--workers", 1, "-q", "-o", out)
    assert ended.code == 0, ended.err
    box = json.loads((out / "room.json").read_text())["box"]
    assert box["largest"]
    step = 2 * 40 / 128  # In two parameters a cell is decided over its half diagonal: two cells may stay open.
    assert 5 - GUARD_MM - WIDTH_MM - step <= box["high"][1] <= 5 - GUARD_MM
    assert -20 + GUARD_MM <= box["low"][1] <= -20 + GUARD_MM + WIDTH_MM + step
    assert (box["low"][0], box["high"][0]) == (-4, 4)
    assert box["verdict_at_middle"] == "pass"
    assert "its middle, judged by the whole chain: PASS" in ended.out
    names = {path.name for path in out.iterdir()}
    assert names == {"room.json", "room.txt", "cells.npz", "slice_x_y.png"}
    picture = np.asarray(Image.open(out / "slice_x_y.png"))
    assert len(np.unique(picture.reshape(-1, 3), axis=0)) > 5
    with np.load(out / "cells.npz") as held:
        assert held["low"].shape == held["high"].shape
        assert held["low"][:, 1].min() == pytest.approx(-30)


def test_ctrl_c_tells_what_is_kept(job, run, tmp_path, monkeypatch):
    """Stopped at its fourth box of work: three are kept, no folder is written."""
    decide, asked = Decider.decide, []

    def stops(self, box):
        asked.append(box)
        if len(asked) == 4:
            raise KeyboardInterrupt
        return decide(self, box)

    monkeypatch.setattr(Decider, "decide", stops)
    out = tmp_path / "room"
    ended = run("room", job, "--y", -30, 10, "--x", -4, 4, "--step", 0.1, 1, "--workers", 1, "-q", "-o", out)
    assert ended.code == 130
    assert ended.out == ""
    (line,) = ended.err.splitlines()
    assert "cells are kept in" in line
    assert "--resume goes on" in line
    assert not out.exists()
    assert (tmp_path / "room.cells.sqlite").exists()


def test_room_proves_that_no_move_helps(job, run, tmp_path):
    """Sideways and up the wall stays 25 mm away; nor does any move of the engine move the rod from the part."""
    ended = run("room", job, "--x", -5, 5, "--step", 5, 1, "--workers", 1, "-q", "-o", tmp_path / "a")
    assert ended.code == 1
    assert "proven for every cell" in ended.out
    job.write_text(job.read_text().replace("gap = 5\n", "gap = 50\n"))
    ended = run("room", job, "--y", -10, 0, "--step", 5, 1, "--workers", 1, "-q", "-o", tmp_path / "b")
    assert ended.code == 1
    assert "blocked first by rod: 100.0 %" in ended.out


def test_move_reads_several_cases_from_a_file(job, run, tmp_path):
    (tmp_path / "moves.toml").write_text(
        '[[move]]\nname = "away"\nshift = [0, -4.0, 0]\n'
        '[[move]]\nname = "turned"\nturn = { axis = [0, 0, 1], degrees = 1.0 }\n'
    )
    ended = run("move", job, "--moves", tmp_path / "moves.toml", "-q", "-o", tmp_path / "m", "--json")
    assert ended.code == 1
    tree = json.loads(ended.out)
    assert [case["name"] for case in tree["cases"]] == ["away", "turned"]
    assert [case["verdict"] for case in tree["cases"]] == ["pass", "fail"]
    assert tree["cases"][1]["moves"][0]["about"] == [0, 0, 0]
    turned = tree["cases"][1]["zones"][0]["after"]["clearance_mm"]
    far = 100 * np.sin(np.radians(1.0)) + 20 * np.cos(np.radians(1.0))
    assert turned["lower"] <= 45 - far <= turned["upper"] + 1e-9
    assert (tmp_path / "m" / "difference_away.png").is_file()
    ply = (tmp_path / "m" / "difference_away.ply").read_bytes()
    assert b"property float change_mm" in ply


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "no move"),
        (["--shift", 1, 2, 3, "--of", "wheel"], "'wheel' cannot be moved"),
        (["--shift", 1, 2, 3, "--zones", "door"], "no zone 'door'"),
        (["--turn", "q", 3], "'q' is no axis"),
        (["--shift", 1, 2, "nan"], "finite"),
        (["--shift", 1, 2, 3, "--of", "transmission"], "nothing tells what the transmission is"),
        (["--shift", 1, 2, 3, "--about", 1, 2, 3], "about without turn"),
        (["--moves", "none.toml"], "cannot be read"),
    ],
)
def test_a_wrong_move_is_one_clear_line(job, run, tmp_path, arguments, said):
    ended = run("move", job, *arguments, "-q", "-o", tmp_path / "m")
    assert ended.code == 2
    assert said in ended.err
    assert ended.err.count("\n") == 1
    assert not (tmp_path / "m").exists()


def test_an_unknown_key_of_a_moves_file_is_named(job, run, tmp_path):
    (tmp_path / "moves.toml").write_text("[[move]]\nshfit = [0, 1.0, 0]\n")
    ended = run("move", job, "--moves", tmp_path / "moves.toml", "-q")
    assert ended.code == 2
    assert "did you mean shift?" in ended.err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([], "no range of moves"),
        (["--x", 3, -3], "reversed"),
        (["--rx", -100, 100], "beyond 90 degrees"),
        (["--x", -3, 3, "--step", 0, 1], "not above 0"),
        (["--x", -3, 3, "--cluster", "tcp://127.0.0.1:1"], "no Dask scheduler answers"),
    ],
)
def test_a_wrong_range_is_one_clear_line(job, run, tmp_path, arguments, said):
    ended = run("room", job, *arguments, "-q", "-o", tmp_path / "m")
    assert ended.code == 2
    assert said in ended.err
    assert ended.err.count("\n") == 1
    assert not (tmp_path / "m").exists()


def test_a_folder_is_replaced_but_for_what_is_not_ours(job, run, tmp_path):
    out = tmp_path / "moved"
    for _ in range(2):
        assert run("move", job, "--shift", 0, 5, 0, "-q", "-o", out).code in (0, 1, 3)
    (out / "my notes.txt").write_text("keep")
    ended = run("move", job, "--shift", 0, 5, 0, "-q", "-o", out)
    assert ended.code == 2
    assert "my notes.txt" in ended.err
    ended = run("room", job, "--y", -10, 0, "--step", 5, 1, "--workers", 1, "-q", "-o", out)
    assert ended.code == 2
    assert (out / "my notes.txt").read_text() == "keep"
