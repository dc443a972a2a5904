"""What arcs prove, against closed forms and brute force over states."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from brute import distance
from scenes import SAME_MM, soup

from clearance.job.where import Rod, Where
from clearance.motion import bounded
from clearance.motion.arcs import clear_by
from clearance.motion.bodies import near_pieces, shifted
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.posed import posed
from clearance.motion.rock import rock_from
from clearance.motion.sweep import sweep
from clearance.motion.zone_motion import Stroke, Travel, ZoneMotion
from clearance.scene.mesh import Mesh
from clearance.scene.primitives import FACET_MM, solid_mesh

TOLERANCE_MM = 0.02


def rod(start, end, diameter: float) -> Mesh:
    return solid_mesh(Where(capsule=Rod.model_validate({"from": start, "to": end, "diameter": diameter})))[0]


def turning(part_rides: str, roll_deg, travel_deg, lift=(0.0, 0.0), shift=(0.0, 0.0), stroke=None, tilt=0.0):
    """Roll about y at 300 below the origin, travel about x (tilted) at 60 below."""
    rock = rock_from(
        point=np.array([0.0, 0, -300]), direction=np.array([0.0, 1, 0]), up=np.array([0.0, 0, 1]),
        forward=np.array([1.0, 0, 0]), roll_deg=roll_deg, lift_mm=lift, shift_mm=shift,
    )  # fmt: skip
    axis = np.array([1.0, tilt, 0.0])
    travel = Travel(
        point=np.array([0.0, 0, -60]), direction=axis / np.linalg.norm(axis), range_rad=tuple(np.radians(travel_deg))
    )
    own = None if stroke is None else Stroke(direction=np.array([0.0, 0.6, 0.8]), range_mm=stroke)
    rides = "chassis" if part_rides == "engine" else "engine"
    return pair_motion(part_rides, ZoneMotion(rides=rides, travel=travel, stroke=own), rock)


@pytest.mark.parametrize("lift", [(0.0, 0.0), (-2.0, 3.0)])
def test_a_bar_over_an_arm_that_turns_about_its_own_axis(lift):
    """Least at an end of the roll, whatever the travel: 300 cos 3 - 240 less both radii, and the lift down."""
    bar, arm = rod([0, -200, 0], [0, 200, 0], 40.0), rod([-250, 0, -60], [250, 0, -60], 36.0)
    found = sweep(bar, True, arm, True, turning("engine", (-3, 3), (-10, 10), lift), TOLERANCE_MM)
    round_ = 300 * np.cos(np.radians(3)) - 240 - 20 - 18 + lift[0]
    assert round_ - 2 * FACET_MM - SAME_MM <= found.clearance.lower
    assert found.clearance.lower <= found.clearance.upper <= round_ + SAME_MM
    assert found.clearance.width <= TOLERANCE_MM
    assert found.evaluations < 1000


def loose(rng, count: int, about) -> Mesh:
    """Loose triangles about 12 across."""
    corners = rng.normal(size=(count, 1, 3)) * 6 + about + rng.normal(size=(count, 3, 3)) * 6
    return Mesh(corners.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))


def scene(seed: int):
    """Two small soups 10 to 40 apart, or points and a soup, that turn, slide and stroke."""
    rng = np.random.default_rng(seed)
    part = loose(rng, 12, np.zeros(3))
    zone = loose(rng, 10, np.array([0.0, 0.0, -rng.uniform(45, 70)]))
    solid = zone.vertices if seed % 3 == 0 else zone
    motion = turning(
        ("engine", "chassis")[seed % 2], (-3, rng.uniform(1, 5)), (-10, rng.uniform(2, 12)), (-rng.uniform(0, 2), 1.0),
        (0.0, rng.uniform(0, 3)), (0.0, 4.0) if seed % 4 == 1 else None, rng.uniform(-0.5, 0.5),
    )  # fmt: skip
    return part, solid, motion, rng


def sampled(part: Mesh, zone, motion: PairMotion, rng, count: int = 60) -> float:
    """Least clearance of random states, a third of them at ends of all ranges."""
    edges, least = sum(len(slide.edges) for slide in motion.slides), np.inf
    for k in range(count):
        angle, share = rng.uniform(size=len(motion.low)), rng.uniform(size=edges)
        if k % 3 == 0:
            angle, share = np.round(angle), np.round(share)
        rotation, shift = motion.zone_to_part(motion.low + angle * (motion.high - motion.low), share)
        least = min(least, distance(soup(part), soup(zone) @ rotation.T + shift))
    return least


@pytest.mark.parametrize("seed", range(12))
def test_no_state_is_nearer_than_arcs_say(seed):
    part, zone, motion, rng = scene(seed)
    pair = shifted(part, False, zone, False, motion)
    near = near_pieces(pair)
    bodies = posed(pair.motion, near)
    upper = bodies.closest(pair.motion.middle).distance_mm
    lower = clear_by(pair.motion, near, upper, TOLERANCE_MM)
    assert lower <= sampled(pair.part, pair.zone, pair.motion, rng) + SAME_MM
    found = bodies.search(TOLERANCE_MM, 20_000).bound
    assert lower == -np.inf or found.upper - 0.1 <= lower <= found.upper
    assert lower > 0 or found.upper < 12.0  # Deeper hulls than the clearance prove nothing.


def test_a_body_within_what_a_hull_fills_proves_nothing():
    """A plate slides up and down by 10 through a speck that is 0.7 from every wall of the room that it fills."""
    plate = Mesh(np.array([[-20.0, -20, 0], [20, -20, 0], [20, 20, 0], [-20, 20, 0]]), np.array([[0, 1, 2], [0, 2, 3]]))
    speck = np.array([[3.0, 2.0, -1.0]])
    pair = shifted(plate, False, speck, False, turning("chassis", (-0.01, 0.01), (-0.01, 0.01), lift=(-10.0, 10.0)))
    assert clear_by(pair.motion, near_pieces(pair), 1.0, TOLERANCE_MM) <= 0


def test_a_search_that_gives_up_still_holds(monkeypatch):
    """Without arcs and with few looks the bound is wide, and true; cells are few and none is below it."""
    monkeypatch.setattr(bounded, "clear_by", lambda *_: -np.inf)
    monkeypatch.setattr("clearance.motion.posed.PlacedBodies.most_evaluations", 600)
    monkeypatch.setattr(bounded, "MOST_CELLS", 50)
    bar, arm = rod([0, -200, 0], [0, 200, 0], 40.0), rod([-250, 0, -60], [250, 0, -60], 36.0)
    motion = turning("engine", (-3, 3), (-10, 10))
    found = sweep(bar, True, arm, True, motion, TOLERANCE_MM)
    round_ = 300 * np.cos(np.radians(3)) - 240 - 20 - 18
    assert found.clearance.lower <= round_ <= found.clearance.upper + 2 * FACET_MM
    assert found.clearance.width > TOLERANCE_MM
    assert found.evaluations < 1000
    assert found.cells.tolist() == [[*motion.low, *motion.high, found.clearance.lower]]


def test_edges_of_a_cube_that_swings_under_a_plate():
    """A cube of side 20 swings by 45 degrees under a plate that rolls about y: its edge comes up by 10 (sqrt 2 - 1)."""
    block = trimesh.creation.box(extents=(20, 20, 20))
    block.apply_translation([0, 0, -60])
    plate = Mesh(np.array([[-1.0, -30, 0], [1, -30, 0], [1, 30, 0], [-1, 30, 0]]), np.array([[0, 1, 2], [0, 2, 3]]))
    cube = Mesh(np.asarray(block.vertices), np.asarray(block.faces, dtype=np.int64))
    pair = shifted(plate, False, cube, True, turning("engine", (-0.001, 0.001), (0, 45)))
    wanted = 60 - 10 * np.sqrt(2)
    lower = clear_by(pair.motion, near_pieces(pair), wanted + 1e-3, TOLERANCE_MM)
    assert wanted - TOLERANCE_MM <= lower <= wanted + 1e-3
