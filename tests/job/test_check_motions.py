"""What rides on what, and what a zone may do besides: refused in one line, with what would be right."""

from __future__ import annotations

import pytest

LINK = '[[link]]\nname = "{}"\nengine = [0, 0, 0]\nchassis = [0, 300, 0]\n'
ROCK, SHAFT, ALL_ELSE = "[rock]\n", 'kind = "axle"\n', 'kind = "line"\nrides = "engine"\n'
SHAFT_RIDES = (SHAFT, SHAFT + 'rides = "shaft"\n')
TANK = 'where = { file = "tank.stl", unit = "in" }\n'
STROKE = "stroke = { axis = [0, 0, 1], mm = [0, 5] }\n"

CASES = {
    "a link called like a carrier": (
        [(ROCK, LINK.format("engine") + ROCK)], "link 'engine': name", ("a carrier of its own", "another name"),
    ),
    "two links of one name": (
        [SHAFT_RIDES, (ROCK, 2 * LINK.format("shaft") + ROCK)], "link 'shaft': name", ("two links", "each its own"),
    ),
    "a link that nothing rides on": (
        [(ROCK, LINK.format("shaft") + ROCK)], "link 'shaft'", ("no zone rides on it", 'rides = "shaft"'),
    ),
    "a carrier mistyped": (
        [(ALL_ELSE, ALL_ELSE.replace("engine", "engin"))], "zone 'all else': rides", ('did you mean "engine"?',),
    ),
    "a carrier that is none": (
        [(ALL_ELSE, ALL_ELSE.replace("engine", "gearbox"))],
        "zone 'all else': rides", ('"gearbox" is no carrier', '"chassis", "engine"', "[[link]]"),
    ),
    "a stroke on a link": (
        [(SHAFT, SHAFT_RIDES[1] + STROKE), (ROCK, LINK.format("shaft") + ROCK)],
        "zone 'left shaft': stroke", ("travel at its chassis end, no stroke", "leave one of them out"),
    ),
    "a link past a part on the chassis": (
        [
            SHAFT_RIDES, (ROCK, LINK.format("shaft") + ROCK),
            ('unit = "mm"\nrides = "engine"\n', 'unit = "mm"\nrides = "chassis"\n'),
        ],
        "link", ("rides on the chassis", "leave the link out"),
    ),
    "a fit of a body": ([(TANK, TANK + 'fit = "cylinder"\n')], "zone 'tank': fit", ("a body already", "leave fit out")),
    "a fit of all the rest": (
        [("where = { rest = true }\n", 'where = { rest = true }\nfit = "cylinder"\n')],
        "zone 'all else': fit", ("rest = true", "a zone of its own"),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_it_is_refused(disk, name):
    swaps, key, telling = CASES[name]
    disk.edit(*swaps)
    line = disk.refusal()
    assert line.startswith(f"{disk.job}: {key}: "), line
    assert "\n" not in line
    for words in telling:
        assert words in line, line


def test_with_a_shaft_that_rides_on_its_link_it_is_read(disk):
    disk.edit(SHAFT_RIDES, (ROCK, LINK.format("shaft") + ROCK))
    assert [zone.rides for zone in disk.read().zones] == ["chassis", "shaft", "chassis", "engine"]
