"""The page: nothing from outside, nothing unescaped, everything a reader needs is said."""

from __future__ import annotations

import base64
import json
from dataclasses import fields, replace
from html.parser import HTMLParser
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from clearance.outputs.pictures import Picture
from clearance.outputs.report_page import BUDGET_ROWS, deciding_zone, report_page
from clearance.unseen.result import Unseen
from clearance.verdict.result import Budget, Verdict

EVIL = "<script>alert('x')</script> & \"rail\""
VOID = {"meta", "img", "br", "hr", "link", "input"}


class Reader(HTMLParser):
    """Collects tags, attributes and text; checks that every tag is closed."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.text = ""
        self.open: list[str] = []
        self.scripts: dict[str, str] = {}
        self._within = ""
        self.feed(page)
        self.close()

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += attrs
        self._within = dict(attrs).get("id", "code") if tag == "script" else ""
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag
        self._within = ""

    def handle_data(self, data):
        if self._within:
            self.scripts[self._within] = data
        else:
            self.text += data


@pytest.fixture
def pictures(tmp_path: Path) -> tuple[Picture, ...]:
    path = tmp_path / "part.png"
    Image.new("RGB", (6, 4), (200, 100, 0)).save(path)
    return (Picture(path, f"worst spot against {EVIL}", EVIL),)


def test_names_are_text_not_markup(build, pictures):
    result = replace(build(ceiling=EVIL), notes=(EVIL,))
    result = replace(result, job=result.job.model_copy(update={"title": EVIL}))
    page = Reader(report_page(result, pictures, f'title = "{EVIL}"'))
    assert page.tags.count("script") == 2  # the view's data and its code; the name is in neither as markup
    assert EVIL in json.loads(page.scripts["scene"])["zones"][0]["name"]
    assert page.open == []
    assert page.text.count(EVIL) >= 6
    assert ("alt", f"worst spot against {EVIL}") in page.attributes


def test_the_page_needs_nothing_from_outside(result, pictures):
    raw = report_page(result, pictures, "")
    page = Reader(raw)
    sources = [value for name, value in page.attributes if name in ("src", "href", "srcset", "data", "action")]
    assert sources
    assert all(value is not None and value.startswith("data:image/png;base64,") for value in sources)
    assert "url(" not in raw
    assert "@import" not in raw
    assert "://" not in raw
    assert ("content", "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'") in (
        page.attributes
    )
    with Image.open(BytesIO(base64.b64decode(str(sources[0]).split(",", 1)[1]))) as image:
        assert image.size == (6, 4)


@pytest.mark.parametrize(("verdict", "word"), [("pass", "PASS"), ("fail", "FAIL"), ("undecided", "UNDECIDED")])
def test_the_verdict_comes_first_in_words(result, pictures, verdict: str, word: str):
    page = Reader(report_page(replace(result, verdict=Verdict(verdict)), pictures, ""))
    body = page.text.split("sphere between ceiling and floor")[-1]
    assert body.split()[0] == word
    said = "Deciding zone" if verdict == "fail" else "Tightest zone"  # the tightest zone of this result fails
    assert body.index(said) < body.index("NOT checked") < body.index("Zones")


def test_it_says_what_of_the_unseen_was_looked_for_and_found(result, pictures):
    assert "NOT checked" in report_page(result, pictures, "")
    place = Unseen(zone="floor", centre=np.zeros(3), size_mm=40.0, nearest_mm=3.0, needed_mm=6.3, advice="scan <again>")
    assert "scan &lt;again&gt;" in report_page(replace(result, unseen=(place,)), pictures, "")


def test_numbers_sources_and_cautions_are_there(result, pictures):
    text = " ".join(Reader(report_page(result, pictures, "[part]")).text.split())
    for expected in (
        "4.99 to 5.00", "9.99 to 10.00", "-3.01", "roll +0.00°, lift +5.00 mm", "short by at least 2.72 mm",
        "ab" * 32, "[part]", "python 3.11", "the part was taken cold", "aid, not an approval", "before driving",
    ):  # fmt: skip
        assert expected in text, expected
    assert text.count("0.070") == 1  # the spacing of the point zone, in the budget


def test_odd_results_still_make_a_page(result, pictures):
    bare = replace(result, fixes=(), notes=(), timing_s={}, versions={}, inputs=())
    assert "every zone passes" in report_page(replace(bare, verdict=Verdict.PASS), pictures, "")
    assert "every zone passes" not in report_page(bare, pictures, "")


def test_every_component_of_the_budget_is_shown():
    assert {name for name, _ in BUDGET_ROWS} == {field.name for field in fields(Budget)}


def test_the_gravest_verdict_decides_not_the_smallest_margin(result):
    fails, passes = result.zones
    doubted = replace(passes, verdict=Verdict.UNDECIDED)
    assert deciding_zone((replace(fails, verdict=Verdict.PASS), doubted)) is doubted
    assert deciding_zone((fails, doubted)) is fails
