"""The report in a browser: what a reader sees, moves, hears and prints."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path

import numpy as np
import pytest
from accessibility import findings
from browser import Browser, Page
from page_scene import Report
from PIL import Image
from pypdf import PdfReader
from scipy.spatial.transform import Rotation

SECTIONS = (
    "Zones", "Worst spots", "What must move", "Clearance against roll", "Uncertainty, mm", "What was not seen",
    "Growth and heat", "To know", "Placement of the part", "Cautions", "How to reproduce",
)  # fmt: skip
STAGE = "#view canvas"
DOT = np.array([140, 137, 130])
"""sRGB of a scan point that is not short of its gap."""

SAME = 0.001
"""Share of pixels that two drawings of one thing may differ in: where the page has scrolled, edges smooth anew."""

DISPLAY_STEP_MM = 0.1
"""The number under the pointer is told to one decimal."""


@pytest.fixture(scope="module")
def page(opened: Callable[..., Page], report: Report) -> Page:
    return opened(report.page)


@pytest.fixture(autouse=True)
def _nothing_said(page: Page) -> Iterator[None]:
    yield
    assert page.said() == []


def stage(page: Page) -> np.ndarray:
    """Return the pixels of the 3D view, (h, w, 3)."""
    page.ask(f"document.querySelector('{STAGE}').scrollIntoView({{block: 'start'}})")
    page.settled()
    left, top, wide, high = box_of(page)
    image = Image.open(BytesIO(page.picture())).convert("RGB")
    return np.asarray(image.crop((left, top, left + wide, top + high))).astype(int)


def box_of(page: Page) -> list[float]:
    script = f"(() => {{ const r = document.querySelector('{STAGE}').getBoundingClientRect(); "
    return page.ask(script + "return [r.x, r.y, r.width, r.height]; })()")


def home(page: Page) -> None:
    page.press("#view-pose button")
    page.press("#colour-all")
    page.press("#view-home")


def changed(before: np.ndarray, after: np.ndarray) -> float:
    """Return the share of pixels that differ."""
    return float((np.abs(before - after).max(axis=2) > 12).mean())


def dots(pixels: np.ndarray) -> int:
    """Return how many pixels have the colour of scan points."""
    return int((np.abs(pixels - DOT).max(axis=2) <= 1).sum())


def test_it_opens_and_asks_nothing_of_anybody(page: Page, report: Report):
    outside = [url for url in page.asked_for() if not url.startswith("data:image/png;base64,")]
    assert outside == [report.page.as_uri()]
    assert page.ask("document.getElementById('view').hidden") is False
    assert page.ask("document.getElementById('view-none').hidden") is True
    assert np.unique(stage(page).reshape(-1, 3), axis=0).shape[0] > 50


def test_a_slider_moves_the_part_and_changes_its_colours(page: Page):
    home(page)
    before, words = stage(page), page.text("#view-short")
    assert words.startswith("Over the whole motion")
    page.slide("#pose-0", 3.0)
    rolled, then = stage(page), page.text("#view-short")
    assert then.startswith("At this pose")
    assert changed(before, rolled) > 0.01
    page.slide("#pose-0", -2.0)
    assert page.text("#view-short") != then  # towards the wall more of the part is short
    assert changed(rolled, stage(page)) > 0.01
    assert page.text("#view-pose output") == "−2.00°"
    home(page)
    assert changed(before, stage(page)) < SAME


def test_a_zone_is_switched_off_and_on(page: Page):
    home(page)
    before = stage(page)
    assert dots(before) > 500
    page.press("#zone-0")
    page.press("#zone-1")
    without = stage(page)
    assert dots(without) < dots(before) / 50  # the shading of a mesh may hit that colour
    assert changed(before, without) > 0.005
    page.press("#zone-0")
    page.press("#zone-1")
    assert changed(before, stage(page)) < SAME


@pytest.mark.parametrize("number", range(4))
def test_the_worst_spot_is_shown_with_the_number_of_the_record(page: Page, report: Report, number: int):
    home(page)
    seen_from = page.text("#view-from")
    zone = report.tree["zones"][number]
    page.press(f"#view-zones > div:nth-of-type({number + 1}) button")
    page.settled()
    assert page.text("#view-from") != seen_from
    assert page.ask("document.getElementById('view-tag').hidden") is False
    assert page.text("#view-tag").startswith(f"{zone['name']}: {zone['verdict'].upper()}")
    _point_at(page, zone)
    told = re.fullmatch(r"Here, at this pose: (-?[0-9.]+) mm to (.*), gap [0-9.]+ mm\.", page.text("#view-read"))
    assert told, page.text("#view-read")
    assert told[2] == zone["name"]
    bound = zone["clearance_mm"]
    assert bound["lower"] - DISPLAY_STEP_MM <= float(told[1]) <= bound["upper"] + DISPLAY_STEP_MM


def _point_at(page: Page, zone: dict) -> None:
    """Move the mouse to where the nearest place of the part must stand: the view is centred on the gap, z upright."""
    worst = {name: value or 0.0 for name, value in zone["worst_pose"].items()}
    axis = np.array([0.0, 0.0, -100.0])

    def rock(point: np.ndarray) -> np.ndarray:
        turned = Rotation.from_euler("x", worst["roll_deg"], degrees=True).apply(point - axis) + axis
        return turned + np.array([worst["shift_mm"], 0, worst["lift_mm"]])

    on_part, on_zone = np.array(zone["on_part_mm"]), np.array(zone["on_zone_mm"])
    if zone["name"] == "box with a stroke":
        on_part, on_zone = rock(on_part), rock(on_zone + np.array([0, 0, worst["stroke_mm"]]))
    else:
        hinge = np.array([135.0, 0.0, -150.0])
        swing = Rotation.from_euler("y", worst["travel_deg"], degrees=True)
        on_part, on_zone = rock(on_part), swing.apply(on_zone - hinge) + hinge
    toward = np.array([float(x) for x in re.findall(r"-?[0-9.]+", page.text("#view-from"))])
    toward /= np.linalg.norm(toward)
    right = np.cross([0, 0, 1], toward)
    right /= np.linalg.norm(right)
    page.ask(f"document.querySelector('{STAGE}').scrollIntoView({{block: 'start'}})")
    left, top, wide, high = box_of(page)
    per_px = max(90.0, 5 * float(np.linalg.norm(on_part - on_zone))) / high
    away = (on_part - on_zone) / 2
    page.mouse(
        "mouseMoved", left + wide / 2 + away @ right / per_px, top + high / 2 - away @ np.cross(toward, right) / per_px
    )
    page.until("document.getElementById('view-read').textContent.startsWith('Here')")
    page.settled()


def test_the_tag_hides_behind_the_part(page: Page):
    home(page)
    page.press("#view-zones > div:nth-of-type(4) button")
    page.settled()
    assert page.text("#view-behind") == ""
    page.ask(f"document.querySelector('{STAGE}').focus()")
    for _ in range(26):  # half a turn in steps of 0.12 rad
        page.key("ArrowRight", 39)
    page.settled()
    assert page.ask("document.getElementById('view-tag').hidden") is True
    assert "is behind the part from here" in page.text("#view-behind")


def test_every_control_is_reached_by_keyboard_in_reading_order(opened: Callable[..., Page], report: Report):
    page = opened(report.page)
    page.ask(
        "window.order = []; document.addEventListener('focusin', e => window.order.push([...document.querySelectorAll("
        "'*')].indexOf(e.target)))"
    )
    stops = "canvas, button, input:not([type=radio]), [tabindex='0']"
    wanted = page.ask(f'document.querySelectorAll("{stops}").length') + 1  # of the two radio buttons one is a stop
    for _ in range(wanted):
        page.key("Tab", 9)
    order = page.ask("window.order")
    assert len(order) == len(set(order)) == wanted
    assert order == sorted(order)


def test_no_serious_accessibility_finding(page: Page, axe: Path):
    assert findings(page, axe) == []


def test_on_a_phone_nothing_is_wider_than_the_screen(opened: Callable[..., Page], report: Report):
    page = opened(report.page, wide=390, high=800, mobile=True)
    assert page.ask("document.documentElement.scrollWidth") <= 390
    assert page.ask("document.querySelector('canvas').clientHeight") < 800  # room to scroll past the view


def test_printed_it_is_whole(page: Page, report: Report):
    printed = PdfReader(BytesIO(page.pdf()))
    text = " ".join(" ".join(sheet.extract_text() for sheet in printed.pages).split())
    for section in SECTIONS:
        assert section in text, section
    assert text.index("FAIL") < text.index("Zones")
    for zone in report.tree["zones"]:
        assert zone["name"] in text
    for file in report.tree["inputs"]:
        assert file["sha256"][:16] in text.replace(" ", "")
    assert "go to worst spot" not in text
    assert sum(len(sheet.images) for sheet in printed.pages) >= 1 + len(report.tree["zones"])


def test_without_webgl_words_and_pictures_stay(report: Report, tmp_path: Path):
    with Browser(tmp_path / "profile", "--disable-3d-apis") as bare:
        page = bare.page(report.page)
        page.settled()
        assert page.ask("document.getElementById('view').hidden") is True
        assert page.ask("document.getElementById('view-none').offsetHeight") > 0
        assert page.ask("[...document.images].every(image => image.naturalWidth > 0) && document.images.length") == 5
        assert page.said() == []
