"""Nothing may be left out: places in closed form, and reports made with a bug that loses points."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from clearance.job.where import Where
from clearance.scene.zones import Zones, build_zones
from clearance.verify.left_out import held_by
from clearance.verify.verify import verify

ROD = {"from": [0.0, 0, 0], "to": [0.0, 0, 10], "diameter": 4.0}


@pytest.mark.parametrize(
    ("where", "point", "outside"),
    [
        ({"box": {"min": [0, 0, 0], "max": [4, 6, 8]}}, [2, 3, 9], 1.0),
        ({"box": {"min": [0, 0, 0], "max": [4, 6, 8]}}, [2, 3, 7.5], -0.5),
        ({"sphere": {"center": [1, 1, 1], "diameter": 6}}, [1, 1, 5], 1.0),
        ({"cylinder": ROD}, [3, 0, 5], 1.0),
        ({"cylinder": ROD}, [0, 1, 11], 1.0),
        ({"cylinder": ROD}, [0, 1, 9.75], -0.25),
        ({"capsule": ROD}, [0, 0, 11], -1.0),
        ({"capsule": ROD}, [3, 0, 14], 3.0),
    ],
)
def test_how_far_a_point_lies_outside_a_place(where, point, outside):
    found = held_by(Where.model_validate(where), np.array([point], dtype=float))
    assert found[0] == pytest.approx(outside, abs=1e-12)


def _losing(which):
    """`build_zones` with the nearest tenth of the points of one zone, or of those of none, lost."""

    def build(*given):
        made = build_zones(*given)
        if which is None:
            return Zones(made.zones, made.unclaimed[len(made.unclaimed) // 10 :])
        zones = list(made.zones)
        keep = np.arange(len(zones[which].points)) >= len(zones[which].points) // 10
        zone = zones[which]
        zones[which] = replace(zone, points=zone.points[keep], spacing_mm=zone.spacing_mm[keep])
        return Zones(tuple(zones), made.unclaimed)

    return build


@pytest.mark.parametrize("which", [0, 1])
def test_a_zone_that_loses_points_is_told(build, monkeypatch, which):
    monkeypatch.setattr("clearance.layout.layout.build_zones", _losing(which))
    found = verify(build().report)
    assert any("were left out though they touch nothing" in fault for fault in found.faults), found.faults


def test_points_of_no_zone_that_are_lost_are_told(build, monkeypatch):
    monkeypatch.setattr("clearance.layout.layout.build_zones", _losing(None))
    found = verify(
        build("where = { rest = true }", "where = { box = { min = [-60, -40, -50], max = [60, 0, -40] } }").report
    )
    assert "scan points of no zone were left out" in found.faults
