"""The view moves bodies as the sweep does: the script's motions against the program's, at random poses."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser import Browser, Page

import clearance
from clearance.frames import Array, unit_vector
from clearance.motion.pair import pair_motion
from clearance.motion.result import MotionState
from clearance.motion.rock import rock_from
from clearance.motion.zone_motion import Link, Stroke, Travel, ZoneMotion

TEMPLATES = Path(clearance.__file__).parent / "outputs" / "templates"
ORIGIN = np.array([310.0, -40.0, 95.0])
ROCK = rock_from(
    point=np.array([130.0, 20.0, 205.0]), direction=np.array([0.1, -1.0, 0.05]), up=np.array([0.0, 0.1, 1.0]),
    forward=np.array([1.0, 0.2, 0.0]), roll_deg=(-8.0, 9.0), lift_mm=(-5.0, 6.0), shift_mm=(-4.0, 4.0),
)  # fmt: skip
TRAVEL = Travel(point=np.array([50.0, 400.0, 210.0]), direction=unit_vector((1.0, 0.1, 0.2)), range_rad=(-0.3, 0.3))
STROKE = Stroke(direction=unit_vector((0.3, 0.2, 0.9)), range_mm=(-10.0, 20.0))
LINK = Link(engine=np.array([-20.0, 120.0, 230.0]), chassis=np.array([-30.0, 420.0, 240.0]))
MOTIONS = {
    "stands": ZoneMotion(),
    "rides on the engine, with a stroke": ZoneMotion(rides="engine", stroke=STROKE),
    "swings, with a stroke": ZoneMotion(travel=TRAVEL, stroke=STROKE),
    "a shaft": ZoneMotion(rides="shaft", link=LINK, travel=TRAVEL),
}
POINTS = np.random.default_rng(4).uniform(-300, 300, (6, 3))


@pytest.fixture(scope="module")
def page(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Page:
    empty = tmp_path_factory.mktemp("empty") / "empty.html"
    empty.write_text("<!doctype html><title>empty</title>")
    page = browser.page(empty)
    page.ask("\n".join((TEMPLATES / name).read_text() for name in ("stage.js", "pose.js")) + "\n0")
    return page


def scene(motion: ZoneMotion, part_rides: str) -> dict[str, Any]:
    """What the page is given, in its own words (degrees, mm)."""
    travel, stroke, link = motion.travel, motion.stroke, motion.link
    return {
        "origin": ORIGIN.tolist(),
        "rock": {name: getattr(ROCK, name).tolist() for name in ("point", "direction", "up", "forward")},
        "growth": None,
        "part": {"rides": part_rides},
        "zones": [{"moves": {
            "rides": motion.rides,
            "travel": travel and {"point": travel.point.tolist(), "axis": travel.direction.tolist()},
            "stroke": stroke and {"axis": stroke.direction.tolist()},
            "link": link and {"engine": link.engine.tolist(), "chassis": link.chassis.tolist()},
        }}],
    }  # fmt: skip


def seen_by_script(page: Page, scene: dict[str, Any], pose: dict[str, float]) -> Array:
    """Return where the script puts the zone's points, as seen from the part, in the bay."""
    return np.array(page.ask(
        f"(() => {{ const scene = {json.dumps(scene)}, pose = {json.dumps(pose)}, motions = Motions(scene);"
        f" const both = after(undone(motions.part(pose)), motions.zone(scene.zones[0], pose, 0));"
        f" return {json.dumps(POINTS.tolist())}.map(p => add(moved(both, sub(p, scene.origin)), scene.origin)); }})()"
    ))  # fmt: skip


@pytest.mark.parametrize(
    ("name", "part_rides"),
    [(name, rides) for name in MOTIONS for rides in ("engine", "chassis") if (name, rides) != ("a shaft", "chassis")],
)
def test_bodies_stand_where_the_sweep_has_them(page: Page, name: str, part_rides: str):
    motion, rng = MOTIONS[name], np.random.default_rng(5)
    pair = pair_motion(part_rides, motion, ROCK)
    for _ in range(5):
        roll, travel = rng.uniform(-0.14, 0.15), rng.uniform(-0.3, 0.3)
        lift, shift, stroke = rng.uniform(-4, 4, 3)
        state = MotionState(
            roll_rad=roll, lift_mm=lift, shift_mm=shift,
            travel_rad=travel if motion.travel else None, stroke_mm=stroke if motion.stroke else None,
        )  # fmt: skip
        part, zone = pair.poses(state)
        pose = {
            "roll": float(np.degrees(roll)), "lift": lift, "shift": shift, "growth": 1.0,
            "travel 0": float(np.degrees(travel)), "stroke 0": stroke,
        }  # fmt: skip
        seen = seen_by_script(page, scene(motion, part_rides), pose)
        # 1 nm: both are double precision about 500 mm.
        assert np.abs(seen - (part.inverse() @ zone).apply(POINTS)).max() < 1e-6


def test_the_part_grows_about_its_anchor(page: Page):
    grown = scene(MOTIONS["stands"], "chassis")
    grown["growth"] = {"anchor": [100.0, 20.0, 30.0], "range": [1.0, 1.01]}
    pose = {"roll": 0.0, "lift": 0.0, "shift": 0.0, "growth": 1.01, "travel 0": 0.0, "stroke 0": 0.0}
    anchor = np.array([100.0, 20.0, 30.0])
    # A place that stands still comes nearer to the anchor, in the grown part's own size.
    assert np.allclose(
        seen_by_script(page, grown, pose), anchor + (POINTS - anchor) / 1.01, rtol=0, atol=1e-9 * 300 + 1e-9
    )


def test_the_grid_finds_what_is_nearest_or_nearly(page: Page):
    """Colours at a pose come from a grid that passes neighbours on; against all points, asked one by one."""
    rng = np.random.default_rng(6)
    cloud, asked = rng.uniform(-100, 100, (3000, 3)), rng.uniform(-80, 80, (300, 3))
    found = np.array(page.ask(
        f"(() => {{ const body = {{ points: new Float32Array({json.dumps(cloud.ravel().tolist())}) }};"
        f" const near = NearGrid(body, [-130, -130, -130], [130, 130, 130]);"
        f" return {json.dumps(asked.tolist())}.map(p => near(...p)[1]); }})()"
    ))  # fmt: skip
    true = np.linalg.norm(asked[:, None] - cloud[None], axis=2).min(axis=1)
    assert (found >= true - 1e-3).all()  # never nearer than the nearest: single precision of 100 mm
    assert (found - true).max() < 4.7  # a cell of the grid: 260 mm in 56 steps
    assert np.median(found - true) < 0.05
