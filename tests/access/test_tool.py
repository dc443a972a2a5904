"""Tools on nuts against closed forms of their arcs, and the sizes against what is published."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.access import sizes
from clearance.access.obstacle import Obstacle
from clearance.access.result import Outcome
from clearance.access.tool import check_tool, tool_of
from clearance.distance.fcl_engine import FclBody
from clearance.job.access import Tool


def tried(*obstacles: Obstacle, kind: str = "spanner", **more):
    table = {"kind": kind, "thread": "M8", "at": (0.0, 0.0, 0.0), "axis": (0.0, 0.0, 1.0), **more}
    return check_tool("nut", tool_of(Tool.model_validate(table)), obstacles)


def test_widths_across_flats_are_those_of_iso_272():
    assert {thread: sizes.ACROSS_FLATS[thread] for thread in ("M8", "M10", "M12")} == {"M8": 13, "M10": 16, "M12": 18}


@pytest.mark.parametrize(("flats", "corners"), [(13, 15.01), (16, 18.48), (18, 20.78)])
def test_across_corners(flats, corners):
    """Of the sharp hexagon, s / cos 30 degrees."""
    assert sizes.across_corners(flats) == pytest.approx(corners, abs=0.005)


@pytest.mark.parametrize(("flats", "low", "high"), [(13, 17.5, 18.5), (14, 19, 20), (16, 22, 24), (17, 22, 24)])
def test_sockets_are_as_thick_as_usual(flats, low, high):
    """3/8 inch drive, common practice."""
    assert low <= sizes.socket_outside(float(flats)) <= high


def test_the_rule_between_listed_sockets_fits_those_listed():
    for flats, outside in sizes.SOCKET_OUTSIDE.items():
        assert 1.25 * flats + 2.25 == pytest.approx(outside, abs=0.15)


def test_between_two_walls_a_handle_swings_along_them(block):
    """Handle 160 long, 13 wide, walls 60 off: its far corner is at 160 cos a + 6.5 sin a towards the wall.

    Blocked for a half angle of 70.3 degrees about each wall's normal, so that two arcs of 39.4 are left.
    """
    walls = [block([60, -400, -400], [70, 400, 400]), block([-70, -400, -400], [-60, 400, 400])]
    half = np.degrees(np.arctan2(6.5, 160) + np.arccos(60 / np.hypot(160, 6.5)))
    assert half == pytest.approx(70.3, abs=0.1)
    more = {"handle": 160.0, "handle_width": 13.0}
    assert tried(*walls, swing=31.0, **more).outcome is Outcome.FREE
    found = tried(*walls, swing=60.0, **more)
    assert found.outcome is Outcome.BLOCKED
    assert "60 degrees" in found.reason
    assert tried(walls[0], swing=180.0, **more).outcome is Outcome.FREE


def test_a_socket_fits_a_well_as_wide_as_itself_and_its_gap(block):
    """A square well about the nut, 18.5 + 2 x 1 = 20.5 across, deeper than the socket is long."""

    def well(half: float) -> list[Obstacle]:
        more = {"gap_mm": 1.0, "name": "well"}
        return [
            block([half, -50, 0], [50, 50, 25], **more), block([-50, -50, 0], [-half, 50, 25], **more),
            block([-50, half, 0], [50, 50, 25], **more), block([-50, -50, 0], [50, -half, 25], **more),
        ]  # fmt: skip

    assert tried(*well(10.35), kind="socket", handle=0.0, length=60.0).outcome is Outcome.FREE
    found = tried(*well(10.1), kind="socket", handle=0.0, length=60.0)
    assert found.outcome is Outcome.BLOCKED
    assert "socket" in found.reason
    head = tried(*well(10.35), kind="socket", handle=0.0, length=20.0)
    assert head.outcome is Outcome.BLOCKED
    assert "ratchet head" in head.reason


def test_the_nut_and_its_stud_are_not_in_the_way_but_a_neighbour_is():
    stud = np.array([[4 * np.cos(a), 4 * np.sin(a), z] for a in np.arange(0, 6.3, 0.5) for z in range(0, 30, 3)])
    assert tried(Obstacle(name="scan", solid=stud), kind="socket").outcome is Outcome.FREE
    assert tried(Obstacle(name="scan", solid=stud + np.array([9.5, 0, 0])), kind="socket").outcome is Outcome.BLOCKED


def test_no_arc_is_proven_where_nothing_firm_is_known():
    ring = np.array([[60 * np.cos(a), 60 * np.sin(a), 5.0] for a in np.linspace(0, 2 * np.pi, 90)])
    assert tried(Obstacle(name="strays", solid=ring, gap_mm=1.0, firm=False)).outcome is Outcome.UNDECIDED
    assert tried(Obstacle(name="ring", solid=ring, gap_mm=1.0)).outcome is Outcome.BLOCKED


def test_a_dense_scan_is_asked_for_few_distances(monkeypatch):
    """200 000 points on a bulkhead 60 away: fewer distances than the handle has sectors at first.

    Each sector searched to 0.02 mm past each class of points takes thousands.
    """
    asked = []
    closest = FclBody.closest
    monkeypatch.setattr(FclBody, "closest", lambda self, other: (asked.append(1), closest(self, other))[1])
    y, z = np.meshgrid(np.arange(-250, 250, 1.0), np.arange(-100, 300, 1.0))
    wall = np.stack([np.full(y.size, 60.0), y.ravel(), z.ravel()], axis=1)
    classes = [Obstacle(name="bulkhead", solid=wall[k::4], gap_mm=1.0, spacing_mm=1.0 + k) for k in range(4)]
    found = tried(*classes, kind="socket")
    assert found.outcome is Outcome.FREE, found.reason
    assert len(asked) < 24
