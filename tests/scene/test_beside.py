"""What hangs together with a moving zone, against arms and floors laid out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.job.schema import Zone as ZoneTable
from clearance.scene.beside import beside_of
from clearance.scene.scan import Scan

PITCH = 2.0
SWING = {"about": [0, 0, 0], "axis": [0, 1, 0], "degrees": [-30, 0]}


def _table(**motion) -> ZoneTable:
    where = {"box": {"min": [-10, -10, -10], "max": [100, 10, 10]}}
    return ZoneTable.model_validate({"name": "arm", "kind": "axle", "where": where, "gap": 5, **motion})


def _strip(start: float, end: float, z: float = 0.0) -> np.ndarray:
    x, y = np.meshgrid(np.arange(start, end, PITCH), np.arange(-4, 5, PITCH))
    return np.column_stack([x.ravel(), y.ravel(), np.full(x.size, z)])


def _scan(points: np.ndarray) -> Scan:
    return Scan(
        points=points, spacing_mm=np.full(len(points), PITCH * np.sqrt(2), np.float32),
        stray=np.zeros(len(points), bool),
        noise_mm=0.0, noise_measured=False, accuracy_mm=0.0,
    )  # fmt: skip


def _found(points: np.ndarray, own: np.ndarray, table: ZoneTable, others=(), told=None) -> np.ndarray:
    told = np.zeros(len(points), bool) if told is None else told
    return beside_of(table, _scan(points), own, others, told)


@pytest.mark.parametrize(
    ("motion", "reaches"),
    [({"travel": SWING}, 300.0), ({"stroke": {"axis": [1, 0, 0], "mm": [0, 9]}}, 150.0)],
    ids=["swing: 200 mm past its outer end", "stroke: 50 mm"],
)
def test_what_goes_on_past_the_place_is_found(motion, reaches):
    arm, floor = _strip(0, 400), _strip(-200, 500, z=-40.0)
    points = np.vstack([arm, floor])
    own = (np.arange(len(points)) < len(arm)) & (points[:, 0] <= 100)
    found = _found(points, own, _table(**motion))
    assert (found[:, 2] == 0).all()  # nothing leaps 40 mm
    assert found[:, 0].min() > 100
    assert found[:, 0].max() == pytest.approx(reaches, abs=PITCH)


def test_the_inner_end_of_a_swing_is_followed_for_50_mm():
    points = _strip(-300, 100)
    found = _found(points, points[:, 0] >= -10, _table(travel=SWING))
    assert found[:, 0].min() == pytest.approx(-60, abs=PITCH)


def test_a_break_wider_than_three_spacings_parts_two_things():
    points = np.vstack([_strip(0, 100), _strip(115, 200)])
    assert not len(_found(points, points[:, 0] < 100, _table(travel=SWING)))
    near = np.vstack([_strip(0, 100), _strip(105, 200)])
    assert len(_found(near, near[:, 0] < 100, _table(travel=SWING))) == len(_strip(105, 200))


@pytest.mark.parametrize(("holds", "explains"), [(105, True), (-10, False)], ids=["its own place", "a place for all"])
def test_a_place_told_by_a_shape_explains_what_lies_there_unless_it_holds_the_zone_too(holds, explains):
    points = _strip(0, 160)
    own = points[:, 0] < 100
    found = _found(points, own, _table(travel=SWING), [points[:, 0] >= holds])
    assert found[:, 0].max() == pytest.approx(104 if explains else 160, abs=PITCH)


def test_what_is_told_otherwise_is_not_beside():
    points = _strip(0, 160)
    assert not len(_found(points, points[:, 0] < 100, _table(travel=SWING), told=points[:, 0] >= 100))
