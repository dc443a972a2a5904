"""Progress lines: what is done, and how long the rest takes if it goes on as it did."""

from __future__ import annotations

import pytest

from clearance.outputs.progress import Steps, duration


def test_the_estimate_is_of_the_zones_left():
    now, lines = [100.0], []
    steps = Steps("rev_a", lines.append, lambda: now[0])
    for step, passes in (
        ("reading", 9),
        ("zone 1 of 4: rail", 12),
        ("zone 2 of 4: shaft", 4),
        ("zone 3 of 4: line", 1),
    ):
        steps(step)
        now[0] += passes
    steps("zone 4 of 4: pipe")
    assert lines == [
        "rev_a: reading",
        "rev_a: zone 1 of 4: rail",
        "rev_a: zone 2 of 4: shaft (about 35 s left for the zones)",  # 12 s a zone, 3 left
        "rev_a: zone 3 of 4: line (about 15 s left for the zones)",  # 8 s a zone, 2 left
        "rev_a: zone 4 of 4: pipe (about 5 s left for the zones)",  # 17 s for 3, 1 left: 5.7 s
    ]


def test_short_runs_are_not_bothered():
    lines: list[str] = []
    steps = Steps("a", lines.append, lambda: 1.0)
    steps("zone 1 of 2: x")
    steps("zone 2 of 2: zone 2 of 9")
    assert lines[-1] == "a: zone 2 of 2: zone 2 of 9"


@pytest.mark.parametrize(("seconds", "words"), [(6, "5 s"), (38, "40 s"), (89, "90 s"), (95, "2 min"), (600, "10 min")])
def test_durations_are_rough(seconds: float, words: str):
    assert duration(seconds) == words
