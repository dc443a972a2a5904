"""The pick page in a browser: scripted clicks on a synthetic bay whose holes, studs and corner are known.

A flat face of 220 x 150 mm with four holes of 12 mm and two studs of 10 mm, scanned at 1.2 mm with 0.05 mm of noise,
stands turned and shifted in the bay; the scan is written in cm.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
import trimesh
from accessibility import findings
from browser import Page

from clearance.frames import Array, Pose, rigid
from clearance.job.datum import Datum
from clearance.pick.page import pick_page, write_pick_page
from clearance.pipeline import place
from clearance.registration.datum_fit import fit_datum

PITCH_MM, NOISE_MM = 1.2, 0.05
HOLES = {"a": (-90.0, -60.0), "b": (90.0, -60.0), "c": (90.0, 55.0), "d": (-80.0, 60.0)}
STUDS = {"s": (-30.0, 10.0), "t": (40.0, -5.0)}
HOLE_WIDE, STUD_WIDE, STUD_HIGH = 12.0, 10.0, 24.0
T_BAY_PART = rigid("bay", "part", trimesh.transformations.rotation_matrix(0.4, [0, 0, 1])[:3, :3], (1200, -450, 310))


@dataclass(frozen=True)
class Bay:
    page: Path
    scan: Path
    points: Array


def face_points(rng: np.random.Generator) -> Array:
    x, y = (g.ravel() for g in np.meshgrid(np.arange(-110, 110, PITCH_MM), np.arange(-75, 75, PITCH_MM)))
    flat = np.column_stack([x, y]) + rng.uniform(-0.3, 0.3, (x.size, 2))
    for places, wide in ((HOLES, HOLE_WIDE), (STUDS, STUD_WIDE)):
        for centre in places.values():
            flat = flat[np.linalg.norm(flat - centre, axis=1) > wide / 2]
    return np.column_stack([flat, rng.normal(0, NOISE_MM, len(flat))])


def stud_points(centre: tuple[float, float], rng: np.random.Generator) -> Array:
    angle, high = (g.ravel() for g in np.meshgrid(np.arange(0, 2 * np.pi, 0.2), np.arange(0.5, STUD_HIGH, 1.0)))
    radius = STUD_WIDE / 2 + rng.normal(0, NOISE_MM, angle.size)
    side = np.column_stack([centre[0] + radius * np.cos(angle), centre[1] + radius * np.sin(angle), high])
    u, v = rng.uniform(0, 2 * np.pi, 60), np.sqrt(rng.uniform(0, 1, 60)) * STUD_WIDE / 2
    top = np.column_stack([centre[0] + v * np.cos(u), centre[1] + v * np.sin(u), np.full(60, STUD_HIGH)])
    return np.vstack([side, top])


@pytest.fixture(scope="module")
def bay(tmp_path_factory: pytest.TempPathFactory) -> Bay:
    folder, rng = tmp_path_factory.mktemp("pick"), np.random.default_rng(3)
    points = np.vstack([face_points(rng), *(stud_points(centre, rng) for centre in STUDS.values())])
    points = T_BAY_PART.apply(points)
    trimesh.PointCloud(points / 10).export(folder / "bay.ply")
    write_pick_page(pick_page(folder / "bay.ply", "cm"), folder / "bay.html")
    return Bay(folder / "bay.html", folder / "bay.ply", points)


@pytest.fixture
def page(opened: Callable[..., Page], bay: Bay) -> Page:
    page = opened(bay.page)
    page.press('button[data-axis="z"]')
    page.ask("document.querySelector('canvas').scrollIntoView({block: 'start'})")
    page.settled()
    return page


def click(page: Page, bay: Bay, place_mm: Array, toward: tuple[float, float, float] = (0.0, 0.0, 1.0)) -> str:
    """Click where a place stands in the view: the middle of the scan is in the middle of the canvas."""
    low, high = bay.points.min(axis=0), bay.points.max(axis=0)
    left, top, wide, tall = page.ask(
        "(() => { const r = document.querySelector('canvas').getBoundingClientRect();"
        " return [r.x, r.y, r.width, r.height]; })()"
    )
    per_px = 0.8 * float(np.linalg.norm(high - low)) / page.ask("document.querySelector('canvas').clientHeight")
    right = np.array([0.0, -1.0, 0.0]) if toward[2] == 1 else np.cross([0, 0, 1], toward)
    right = right / np.linalg.norm(right)
    away = place_mm - (low + high) / 2
    page.click(left + wide / 2 + away @ right / per_px, top + tall / 2 - away @ np.cross(toward, right) / per_px)
    return page.text("#view-read")


def told(words: str) -> Array:
    found = re.search(r": \[(.*)\] mm", words)
    assert found, words
    return np.array([float(x) for x in found[1].split(",")])


def lines(page: Page) -> str:
    return str(page.ask("document.getElementById('lines').value"))


def on_face(place_mm: tuple[float, float], high: float = 0.0) -> Array:
    return T_BAY_PART.apply(np.array([*place_mm, high]))


def test_it_opens_silently_and_asks_nothing_of_anybody(page: Page, bay: Bay):
    assert page.said() == []
    assert page.asked_for() == [bay.page.as_uri()]


def test_a_click_takes_the_scan_point_that_is_there(page: Page, bay: Bay):
    wanted = on_face((20.0, 40.0))
    got = told(click(page, bay, wanted))
    nearest = np.linalg.norm(bay.points - got, axis=1).min()
    assert nearest < 0.01  # places are written to 0.01 mm
    assert np.linalg.norm((got - wanted)[:2]) < PITCH_MM
    assert "No scan point" in click(page, bay, on_face((118.0, 82.0)))


@pytest.mark.parametrize("centre", HOLES.values())
def test_the_centre_of_a_hole(page: Page, bay: Bay, centre: tuple[float, float]):
    page.press("#tool-hole")
    got = told(click(page, bay, on_face((centre[0] + 2.0, centre[1] - 1.5))))
    assert np.linalg.norm(got - on_face(centre)) < PITCH_MM / 3
    wide = float(re.search(r"mm, ([0-9.]+) mm across", page.text("#view-read"))[1])
    assert abs(wide - HOLE_WIDE) < PITCH_MM / 2


def test_no_hole_is_made_up(page: Page, bay: Bay):
    page.press("#tool-hole")
    assert click(page, bay, on_face((0.0, 45.0))).startswith("Not picked")
    assert lines(page) == ""


def test_the_centre_of_a_stud_from_above_and_from_the_side(page: Page, bay: Bay):
    page.press("#tool-stud")
    from_above = told(click(page, bay, on_face((STUDS["s"][0] + 1.0, STUDS["s"][1]), STUD_HIGH)))
    assert np.linalg.norm(from_above - on_face(STUDS["s"])) < PITCH_MM / 2
    page.press('button[data-axis="x"]')
    page.ask("const c = document.querySelector('canvas'); c.scrollIntoView({block: 'start'}); c.focus()")
    for _ in range(4):
        page.key("ArrowDown", 40)
    toward = (float(np.cos(0.48)), 0.0, float(np.sin(0.48)))  # four steps of 0.12 rad up from along x
    seen = on_face(STUDS["t"], 14.0) + np.array([STUD_WIDE / 2, 0, 0])
    aside = told(click(page, bay, seen, toward))
    assert np.linalg.norm(aside - on_face(STUDS["t"])) < PITCH_MM / 2
    for datum in tomllib.loads(lines(page))["datum"]:
        fitted = fit_datum(Datum.model_validate(datum), bay.points, NOISE_MM, Path("job.toml"))
        true = on_face(min(STUDS.values(), key=lambda c: np.linalg.norm(on_face(c) - datum["stud"]["center"])))
        off = fitted.place - true
        assert np.linalg.norm(off[:2]) < 0.2  # a stud's axis, along z here
        assert abs(datum["stud"]["length"] - STUD_HIGH) < 2.0


def test_picked_lines_pasted_into_a_job_register_the_part(page: Page, bay: Bay):
    page.press("#tool-hole")
    for centre in HOLES.values():
        click(page, bay, on_face(centre))
    for number in range(len(HOLES)):
        _choose(page, f"#picked .row:nth-of-type({number + 1}) select", "landmark")
    assert '"x", "y", "z"' in lines(page)  # a job with these is refused until they are filled in
    for number, centre in enumerate(HOLES.values()):
        _type(page, f"#picked .row:nth-of-type({number + 1}) input[placeholder]", f"{centre[0]}, {centre[1]}, 0")
    page.press("#tool-box")
    page.ask("document.querySelector('canvas').scrollIntoView({block: 'start'})")
    for corner in ((-100.0, -20.0), (100.0, 30.0)):
        click(page, bay, on_face(corner))
    text = lines(page)
    box = tomllib.loads(text)["zone"][0]["where"]["box"]
    assert np.all(np.array(box["min"]) < on_face((-100.0, -20.0)) + np.array([0, 0, 0.5]))
    pose = _placed(bay, text)
    ends = np.array([(*centre, 0.0) for centre in HOLES.values()])
    assert np.linalg.norm(pose.apply(ends) - T_BAY_PART.apply(ends), axis=1).max() < PITCH_MM / 2


def _placed(bay: Bay, text: str) -> Pose:
    folder = bay.scan.parent
    trimesh.creation.box((220, 150, 8)).export(folder / "part.stl")
    head = (
        '[part]\nfile = "part.stl"\nunit = "mm"\ntolerance = 0.1\n'
        '[bay]\nfiles = ["bay.ply"]\nunit = "cm"\naccuracy = 0.05\n'
    )
    (folder / "job.toml").write_text(head + text)
    registration = place(folder / "job.toml").registration
    assert registration.converged
    return registration.T_bay_part


def _choose(page: Page, selector: str, value: str) -> None:
    page.ask(
        f"(() => {{ const e = document.querySelector('{selector}'); e.value = '{value}';"
        " e.dispatchEvent(new Event('change')); })()"
    )


def _type(page: Page, selector: str, text: str) -> None:
    page.ask(f"document.querySelector('{selector}').focus()")
    page.call("Input.insertText", text=text)


def test_names_are_text_and_toml(page: Page, bay: Bay):
    click(page, bay, on_face((0.0, 0.0)))
    _type(page, "#picked .row input", '"] <i>\\')
    assert tomllib.loads(lines(page))["register"]["pair"][0]["name"] == 'landmark 1"] <i>\\'
    assert page.ask("document.querySelectorAll('#labels i').length") == 0


def test_it_is_worked_by_keyboard(page: Page):
    page.ask("document.querySelector('canvas').focus()")
    page.key("+", 187, "+")
    page.key("Enter", 13)
    assert page.text("#view-read").startswith("landmark 1: [")


def test_no_serious_accessibility_finding(page: Page, bay: Bay, axe: Path):
    click(page, bay, on_face((0.0, 0.0)))
    page.press("#tool-box")
    page.ask("document.querySelector('canvas').scrollIntoView({block: 'start'})")
    click(page, bay, on_face((0.0, 20.0)))
    assert findings(page, axe) == []


def test_on_a_phone_nothing_is_wider_than_the_screen(opened: Callable[..., Page], bay: Bay):
    page = opened(bay.page, wide=390, high=800, mobile=True)
    assert page.ask("document.documentElement.scrollWidth") <= 390
