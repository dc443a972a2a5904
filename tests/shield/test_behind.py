"""Temperatures behind a blank as it is, against balances written out for one point and against what hides nothing."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import trimesh
from scipy.constants import Stefan_Boltzmann as SIGMA
from shield_scenes import lifting

from clearance.heat.neighbour import Neighbour, Source, looked, placed, temperatures
from clearance.heat.surface_temperature import Surroundings
from clearance.motion.pair import PairMotion, pair_motion
from clearance.scene.mesh import Mesh
from clearance.shield.behind import Behind
from clearance.units import celsius

PART_K, AIR_K, RADIUS = 800.0, 300.0, 60.0
AIRS = {"still": Surroundings(ambient_K=AIR_K), "moving": Surroundings(ambient_K=AIR_K, speed_m_s=4.0)}
STILL = pair_motion("engine", "engine", None)


def _plate(source: Source, away_mm: float = 200.0) -> Neighbour:
    """Points close together on the x axis that face the ball, black."""
    points = np.array([away_mm, 0.0, 0.0]) + np.random.default_rng(2).uniform(-0.3, 0.3, (20, 3)) * [0, 1, 1]
    return placed(points, np.tile([-1.0, 0.0, 0.0], (20, 1)), source.surface, 1.0)


def _sheet(low: tuple[float, float, float], high: tuple[float, float, float]) -> Mesh:
    box = trimesh.creation.box(bounds=[low, high])
    return Mesh(np.array(box.vertices, float), np.array(box.faces, np.int64))


def test_a_sheet_out_of_the_way_changes_nothing(source):
    plate = _plate(source)
    behind = Behind(source, _sheet((-101, -20, -20), (-100, 20, 20)))
    for name, t in behind.hottest_C(plate, STILL, AIRS).items():
        seen = looked(plate, source, behind=False, rays=8192)
        bare = temperatures(plate, source, AIRS[name], behind=False, seen=seen)
        assert t == pytest.approx(celsius(float(bare.max())), abs=0.05)


def test_half_the_ball_hidden_lets_through_half_of_its_heat(source):
    """The ball fills F = (R / d)^2 of the view, the sheet before its lower half is told by `seen_past`."""
    plate = _plate(source)
    behind = Behind(source, _sheet((100, -300, -300), (101, 300, 0)))
    past = source.part.seen_past(plate.points, plate.normals, behind._hidden, 8192)
    assert past.factor == pytest.approx(0.5 * (RADIUS / 200) ** 2, abs=0.004)
    assert past.own_W_m2 == pytest.approx(past.factor * SIGMA * PART_K**4, rel=1e-9)


def test_the_more_is_hidden_the_cooler(source):
    plate = _plate(source)
    found = [
        Behind(source, _sheet((100, -300, -300), (101, 300, top))).hottest_C(plate, STILL, AIRS)["moving"]
        for top in (-80.0, 0.0, 20.0, 80.0)
    ]
    assert all(a > b for a, b in pairwise(found))


def _seen(near: Neighbour, motion: PairMotion) -> tuple[np.ndarray, np.ndarray]:
    """Points and normals as the part sees them where it is rolled most either way, whichever is higher."""
    turn, shift = max(
        (motion.zone_to_part(r, motion.half_shares) for r in (motion.low, motion.high)), key=_height(near)
    )
    return near.points @ turn.T + shift, near.normals @ turn.T


def _height(near: Neighbour):
    return lambda pose: float((near.points @ pose[0].T + pose[1])[:, 2].mean())


def test_the_worst_pose_counts(source):
    """Rolled by 30 degrees the part shows the plate, 100 mm up beside it, what the sheet's upper rim hid."""
    plate, sheet = _plate(source), _sheet((100, -300, -300), (101, 300, 30))
    behind = Behind(source, sheet)
    lifts = pair_motion("engine", "chassis", lifting(-1.0, 1.0, roll_deg=(-30.0, 30.0)))
    still, moved = (behind.hottest_C(plate, motion, AIRS)["still"] for motion in (STILL, lifts))
    up = placed(*_seen(plate, lifts), source.surface, 1.0)
    assert moved > still + 5
    assert moved == pytest.approx(behind.hottest_C(up, STILL, AIRS)["still"], abs=1.0)
