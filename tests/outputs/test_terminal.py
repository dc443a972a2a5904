"""Lines for the terminal: complete, no wider than asked, plain."""

from __future__ import annotations

from dataclasses import replace

import pytest

from clearance.outputs.terminal import summary


@pytest.mark.parametrize("width", [30, 50, 72, 100, 200])
def test_lines_fit_and_say_all(build, width: int):
    text = summary(build("frame rail under the third runner"), width=width, ascii_only=False)
    assert max(map(len, text.splitlines())) <= width
    said = " ".join(text.split())
    for expected in ("FAIL ✗", "PASS", "frame rail under the", "floor", "short by at least 2.72 mm", "NOT checked"):
        assert expected in said
    assert "move 3.4 mm" in said
    assert "notes to read in the report: 1" in said


def test_ascii_terminals_get_ascii(build):
    text = summary(build("Lenkgestänge"), width=80, ascii_only=True)
    assert text.isascii()
    assert "FAIL" in text


def test_control_characters_do_not_reach_the_terminal(result):
    text = summary(replace(result, reason="rail\x1b[2J\x07"), width=100, ascii_only=False)
    assert "rail" in text
    assert "\x1b" not in text
    assert "\x07" not in text


def test_it_says_what_of_the_unseen_was_looked_for(result):
    assert "NOT checked" in summary(result, width=80, ascii_only=False)


def test_names_are_whole_where_the_line_fits(build):
    name = "frame rail beside the third runner and its shield"

    def table(width: int) -> tuple[str, str]:
        lines = summary(build(name), width=width, ascii_only=False).splitlines()
        head = next(number for number, line in enumerate(lines) if line.startswith("zone "))
        return lines[head], lines[head + 1]

    head, row = table(200)
    assert row.startswith(f"{name}  ")
    assert table(len(head)) == (head, row)
    cut_head, cut = table(len(head) - 1)
    assert cut.startswith(f"{name[:-4]}...  ")
    assert len(cut_head) == len(head) - 1
