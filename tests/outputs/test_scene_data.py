"""What the 3D view is given: places and clearances of the sphere between ceiling and floor, decoded again."""

from __future__ import annotations

import base64
import json
import zlib
from dataclasses import replace

import numpy as np
import pytest

from clearance.outputs import scene_data as module
from clearance.outputs.packing import NOTHING
from clearance.outputs.scene_data import scene_data
from clearance.scene.scan import Scan
from clearance.unseen.result import Unseen

CENTRE, RADIUS = np.array([100.0, 50.0, 20.0]), 30.0


def decoded(packed: dict) -> np.ndarray:
    raw = np.frombuffer(zlib.decompress(base64.b64decode(packed["data"])), np.uint8).astype(np.int64)
    code = sum(plane << (8 * i) for i, plane in enumerate(raw.reshape(packed["planes"], packed["k"], packed["n"])))
    steps = np.where(code % 2, -(code + 1) // 2, code // 2)
    values = (np.cumsum(steps, axis=1) if packed["differences"] else steps).T * packed.get("step", 1)
    return values if packed["k"] > 1 else values.ravel()


def test_the_part_lies_where_it_is_placed_and_carries_each_zones_clearance(result):
    scene = scene_data(result)
    places = decoded(scene["part"]["points"]) + scene["origin"]
    # Places are whole steps of 0.01 mm: within 0.005 mm along each axis.
    assert np.abs(np.linalg.norm(places - CENTRE, axis=1) - RADIUS).max() < 0.005 * np.sqrt(3) + 1e-9
    to_ceiling, to_floor = (decoded(values) for values in scene["part"]["values"])
    assert np.abs(to_ceiling - np.minimum(60 - 5 - places[:, 2], 17.6)).max() < 0.02
    assert np.abs(to_floor - np.minimum(places[:, 2] - 2 + 20, 13.2)).max() < 0.02


def test_it_is_plain_data_with_the_proven_numbers(result):
    scene = json.loads(json.dumps(scene_data(result), allow_nan=False))
    ceiling, floor = scene["zones"]
    assert (ceiling["name"], ceiling["gap"], ceiling["proven"]) == ("ceiling", 8.0, "4.99 to 5.00")
    assert ceiling["verdict"] == "FAIL ✗"
    assert ceiling["faces"] is None
    assert floor["faces"]["n"] > 0
    assert scene["rock"]["lift"] == [-2.0, 5.0]
    assert ceiling["worst"]["lift_mm"] == 5.0


def test_the_outline_of_a_patch_is_its_rim(result):
    lines = decoded(scene_data(result)["part"]["patches"])
    assert len(lines) == 6  # one triangle: three edges of two ends
    assert len(np.unique(lines, axis=0)) == 3


def test_scan_points_of_no_zone_are_shown_apart(result):
    ceiling = result.zones[0].zone.points
    loose = np.array([[0.0, 0.0, 7.0], [5.0, 0.0, 7.0]])
    points = np.vstack([ceiling[:100], loose])
    scan = Scan(
        points=points, spacing_mm=np.full(len(points), 2, np.float32), stray=np.zeros(len(points), bool), noise_mm=0.1,
        noise_measured=True, accuracy_mm=0.1,
    )  # fmt: skip
    scene = scene_data(replace(result, scan=scan))
    assert np.allclose(np.sort(decoded(scene["context"]) + scene["origin"], axis=0), loose, rtol=0, atol=0.006)


def test_what_was_not_checked_is_told_as_nothing(result):
    zone = result.zones[0]
    field = replace(zone.part_field, values_mm=np.full_like(zone.part_field.values_mm, np.nan))
    scene = scene_data(replace(result, zones=(replace(zone, part_field=field), result.zones[1])))
    packed = scene["part"]["values"][0]
    assert (np.rint(decoded(packed) / packed["step"]) == NOTHING).all()


def test_unseen_places_are_shown(result):
    place = Unseen(zone="floor", centre=np.array([1.0, 2, 3]), size_mm=40, nearest_mm=3, needed_mm=6, advice="look")
    assert scene_data(replace(result, unseen=(place,)))["unseen"] == [{"centre": [1.0, 2.0, 3.0], "size": 40}]


def test_points_are_thinned_to_what_a_page_can_hold(result, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(module, "MOST_POINTS", 1000)
    monkeypatch.setattr(module, "CONTEXT_POINTS", 0)
    held = scene_data(result)["zones"][0]["points"]["n"]
    assert 100 < held <= 1000
