"""Cells of moves for a shaft on a link against the pointing of its axis, by scipy's rotations and nothing else.

The part is a small ball, so that the clearance is the distance from its middle to the shaft's axis less both radii.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from clearance.motion.rock import rock_from
from clearance.motion.zone_motion import Link, Travel
from clearance.moves.cells import Decider, Study
from clearance.moves.link_evaluator import LinkDemand
from clearance.moves.search import Ruling
from clearance.moves.space import MoveSpace
from clearance.scene.mesh import Mesh

BALL, RADIUS, FACETS_MM = 2.0, 5.0, 0.25
"""Radii; a ball of 642 corners and a prism of 64 sides stand less than a quarter mm inside the round bodies."""

INNER, OUTER = np.array([0.0, 0, 0]), np.array([0.0, 300, -20])
MIDDLE = np.array([30.0, 120, 10])
JOINT = np.array([-300.0, 300, -20])
RANGES = {"roll": np.radians((-1.0, 1.0)), "lift": (0.0, 2.0), "travel": np.radians((-1.5, 2.0))}


def _study(moved: str, space: MoveSpace, need: float) -> Study:
    ball = trimesh.creation.icosphere(subdivisions=3, radius=BALL)
    rod = trimesh.creation.cylinder(RADIUS, segment=[INNER, OUTER], sections=64)
    rock = rock_from(
        point=np.array([50.0, 0, 30]), direction=np.array([0.0, 1, 0]), up=np.array([0.0, 0, 1]),
        forward=np.array([1.0, 0, 0]), roll_deg=(-1.0, 1.0), lift_mm=(0.0, 2.0), shift_mm=(0.0, 0.0),
    )  # fmt: skip
    demand = LinkDemand(
        zone="shaft", part=Mesh(np.asarray(ball.vertices) + MIDDLE, np.asarray(ball.faces, np.int64)), closed=True,
        solid=Mesh(np.asarray(rod.vertices, np.float64), np.asarray(rod.faces, np.int64)), zone_closed=True, rock=rock,
        travel=Travel(point=JOINT, direction=np.array([0.0, 1, 0]), range_rad=tuple(RANGES["travel"])),
        link=Link(engine=INNER, chassis=OUTER), moved=moved, need_mm=need,
    )  # fmt: skip
    return Study(space=space, demands=(demand,), most=10**9)


def _least(moved: str, space: MoveSpace, move: np.ndarray) -> float:
    """Least clearance over a dense grid of states: the chassis' joint brought back into the engine's frame."""
    turn = Rotation.from_rotvec(move[3:])
    found = np.inf
    for roll, lift, travel in product(*(np.linspace(*RANGES[name], 9) for name in ("roll", "lift", "travel"))):
        outer = Rotation.from_rotvec([0, travel, 0]).apply(OUTER - JOINT) + JOINT
        middle = MIDDLE
        if moved == "engine":
            outer = turn.inv().apply(outer - move[:3] - space.about) + space.about
        else:
            middle = turn.apply(MIDDLE - space.about) + space.about + move[:3]
        axis = np.array([50.0, 0, 30])
        outer = Rotation.from_rotvec([0, -roll, 0]).apply(outer - [0, 0, lift] - axis) + axis
        along = (outer - INNER) / np.linalg.norm(outer - INNER)
        away = middle - INNER
        found = min(found, float(np.linalg.norm(away - (away @ along) * along)) - BALL - RADIUS)
    return found


@pytest.mark.parametrize("moved", ["engine", "part"])
def test_cells_of_a_link_hold_what_its_axis_tells(moved):
    space = MoveSpace(
        low=np.array([-16.0, 0, 0, 0, 0, np.radians(1)]), high=np.array([16.0, 0, 0, 0, 0, np.radians(1)]),
        step_mm=2.0, step_rad=1.0, about=np.array([10.0, 20, 0]), mm_per_rad=300.0,
    )  # fmt: skip
    need = _least(moved, space, (space.low + space.high) / 2)
    decider = Decider(_study(moved, space, need))
    cells = decider.decide(decider.whole())
    assert int(cells.poses.sum()) == space.poses
    met = set()
    for low, high, ruling in zip(space.edge(cells.low), space.edge(cells.high), cells.ruling, strict=True):
        for share in (0.0, 0.5, 1.0):
            move = low + share * (high - low)
            clearance = _least(moved, space, move)
            met.add(int(ruling))
            if ruling == Ruling.FREE:
                assert clearance >= need - FACETS_MM
            if ruling == Ruling.BLOCKED:
                assert clearance <= need + FACETS_MM
    assert {int(Ruling.FREE), int(Ruling.BLOCKED)} <= met
