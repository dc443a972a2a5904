"""report.json against the published list of keys and the scene's closed form."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from clearance.motion.result import MotionState
from clearance.outputs.record import record
from clearance.unseen.result import Unseen

TOP = {
    "access",
    "format", "verdict", "reason", "inputs", "registration", "zones", "fixes", "unseen", "unseen_looked_for",
    "timing_s", "versions",
}  # fmt: skip
ZONE = {
    "name", "kind", "required_gap_mm", "clearance_mm", "nearest_raw_point_mm", "margin_mm", "worst_pose", "on_part_mm",
    "on_zone_mm", "direction", "budget_mm", "hot", "growth_factor", "verdict", "reason",
}  # fmt: skip
REGISTRATION = {"method", "T_bay_part", "converged", "residual_rms_mm", "runner_up_ratio", "sigma_mm"}
BUDGET = {"registration", "noise", "accuracy", "fit", "spacing", "tolerance", "growth", "standard", "guard"}
FIX = {
    "zone", "centre_mm", "direction", "short_mm", "area_mm2", "moved", "room_mm", "room_to", "own_surfaces_mm",
}  # fmt: skip
POSE = {"roll_deg", "lift_mm", "shift_mm", "travel_deg", "stroke_mm"}


def test_keys_are_exactly_those_promised(result):
    tree = record(result)
    assert set(tree) == TOP
    assert tree["format"] == "clearance-report/1"
    assert set(tree["registration"]) == REGISTRATION
    for zone in tree["zones"]:
        assert set(zone) == ZONE
        assert set(zone["clearance_mm"]) == {"lower", "upper"}
        assert set(zone["worst_pose"]) == POSE
        assert set(zone["budget_mm"]) == BUDGET
    assert set(tree["fixes"][0]) == FIX
    assert [set(file) for file in tree["inputs"]] == [
        {"file", "sha256", "unit", "triangles"},
        {"file", "sha256", "unit", "points"},
    ]


def test_numbers_are_those_of_the_scene(result):
    ceiling, floor = record(result)["zones"]
    assert ceiling["clearance_mm"] == {"lower": 4.99, "upper": 5.0}
    assert ceiling["margin_mm"] == pytest.approx(4.99 - 8.0, abs=1e-12)
    assert (ceiling["on_part_mm"], ceiling["on_zone_mm"]) == ([100.0, 50.0, 50.0], [100.0, 50.0, 60.0])
    assert floor["nearest_raw_point_mm"] is None


def test_angles_are_degrees(result):
    turned = replace(
        result.zones[0], sweep=replace(result.zones[0].sweep, worst=MotionState(roll_rad=math.pi / 4, travel_rad=-0.1))
    )
    pose = record(replace(result, zones=(turned,)))["zones"][0]["worst_pose"]
    assert pose["roll_deg"] == pytest.approx(45.0, abs=1e-12)
    assert pose["travel_deg"] == pytest.approx(-18.0 / math.pi, abs=1e-12)
    assert pose["lift_mm"] is None


def test_sigma_is_that_of_the_farthest_corner_of_the_box(result):
    # Isotropic shift s and turn w about the middle: a place at distance r moves by sqrt(s^2 + w^2 r^2) square to r.
    farthest = math.sqrt(3) * 30.0
    assert record(result)["registration"]["sigma_mm"] == pytest.approx(math.hypot(0.1, 0.002 * farthest), rel=1e-6)


def test_unseen_places_and_what_was_looked_for(result):
    assert record(result)["unseen"] == []
    assert "NOT checked" in record(result)["unseen_looked_for"]
    place = Unseen(
        zone="floor", centre=np.arange(3.0), size_mm=40.0, nearest_mm=3.0, needed_mm=6.3, advice="scan again"
    )
    (entry,) = record(replace(result, unseen=(place,)))["unseen"]
    assert entry == {
        "zone": "floor", "centre_mm": [0.0, 1.0, 2.0], "size_mm": 40.0, "nearest_mm": 3.0, "needed_mm": 6.3,
        "advice": "scan again",
    }  # fmt: skip


def test_what_is_not_finite_becomes_null(result):
    odd = replace(
        result,
        zones=(replace(result.zones[0], nearest_raw_point_mm=math.inf),),
        fixes=(replace(result.fixes[0], direction=np.array([math.nan, 0.0, 1.0])),),
    )
    text = json.dumps(record(odd), allow_nan=False)
    tree = json.loads(text)
    assert tree["zones"][0]["nearest_raw_point_mm"] is None
    assert tree["fixes"][0]["direction"] == [None, 0.0, 1.0]
