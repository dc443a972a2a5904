"""Parts in the open: what the scan saw on all sides is not called unseen (scripts/clear_scenes.py has more of them)."""

from __future__ import annotations

from functools import cache

import pytest
from trial_scene.clear import ClearScene, clear_scene

from clearance.unseen.find import find_unseen


@cache
def scene(seed: int) -> ClearScene:
    return clear_scene(seed, pitch_mm=(3.0, 4.0))


@pytest.mark.parametrize("way", ["none", "merged", "apart"])
@pytest.mark.parametrize("seed", [1, 2, 5, 8])
def test_a_part_in_the_open_has_nothing_unseen_about_it(seed, way):
    case = scene(seed)
    stations = None if way == "none" else case.stations
    file_of = case.station_of if way == "apart" else None
    found = find_unseen(case.part, case.scan, case.needs, case.rock, stations=stations, file_of=file_of)
    assert [spot.advice for spot in found] == []
