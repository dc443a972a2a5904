"""Real meshes grown about an anchor: bars at a wall, tips under bumps, thin walls, against closed forms. mm."""

from __future__ import annotations

import igl
import numpy as np
import pytest
import trimesh
from brute import distance
from scenes import rocking, soup

from clearance.heat.grown_sweep import SWEEP_TOLERANCE_MM, sweep_grown, swept_by_growth
from clearance.heat.growth import Growth, grown
from clearance.heat.hot_sweep import least_between
from clearance.heat.materials import growth_strain, material
from clearance.motion.pair import PairMotion
from clearance.scene.mesh import Mesh

STILL = PairMotion()
HOT = Growth(anchor=np.zeros(3), k_cold=1.0, k_hot=1.00864, spread=0.08, text="")
"""304 from 20 to 500 °C by EN 10088-1: 18.0e-6 * 480; 2.592 on 300."""


def mesh_of(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, float), np.asarray(shape.faces, np.int64))


def box(low, high) -> Mesh:
    low, high = np.asarray(low, float), np.asarray(high, float)
    shape = trimesh.creation.box(high - low)
    shape.apply_translation((low + high) / 2)
    return mesh_of(shape)


BAR = box((0, -10, -10), (300, 10, 10))


@pytest.mark.parametrize("zone_kind", ["points", "mesh"])
def test_a_bar_grows_toward_a_wall(zone_kind):
    """A bar of 304, 300 long, anchored at its foot, a wall 5 from its tip: 500 °C leaves 5 - 2.592."""
    strain, _ = growth_strain(material("304", "job.toml"), 20, 500)
    growth = Growth(anchor=np.zeros(3), k_cold=1.0, k_hot=1.0 + strain, spread=0.08, text="")
    wall = box((305, -50, -50), (310, 50, 50))
    zone = wall if zone_kind == "mesh" else np.array([[305.0, y, z] for y in (-8, 0, 8) for z in (-8, 0, 8)])
    found = sweep_grown(BAR, True, zone, zone_kind == "mesh", STILL, growth)
    assert found.clearance.contains(5 - 2.592)
    assert found.clearance.width <= SWEEP_TOLERANCE_MM + 1e-6
    assert found.worst.clearance.upper == pytest.approx(5 - 2.592, abs=1e-6)
    assert found.hot
    assert len(found.certificate) == 2


def test_a_part_that_grows_away_is_worst_cold():
    """Anchored at the far end of the gap: the inner face of a ring about the anchor opens as it grows."""
    rod = np.array([[280.0, 0, z] for z in (-5, 0, 5)])
    found = sweep_grown(box((284, -10, -10), (300, 10, 10)), True, rod, False, STILL, HOT)
    assert found.clearance.contains(4.0)
    assert not found.hot
    assert found.factor == 1.0


@pytest.mark.parametrize("zone_kind", ["points", "mesh"])
def test_a_tip_that_passes_under_a_bump_while_growing(zone_kind):
    """A fin's sharp tip at (300 k, 0, 10 k) passes a bump at x = 301.3: both ends say more than the least on the way.

    Nearest while the tip is on the foot of the perpendicular from the bump to its line through the anchor.
    """
    tip = np.array([300.0, 0, 10.0])
    fin = Mesh(np.array([tip, (299.0, 0.5, 0), (299.0, -0.5, 0), (300.0, 0, 0)]),
               np.array([[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]]))  # fmt: skip
    bump = np.array([301.3, 0, 10.5])
    along = tip / np.linalg.norm(tip)
    least = float(np.linalg.norm(bump - (bump @ along) * along))
    zone = bump[None] if zone_kind == "points" else Mesh(bump + np.array([[0, 0, 0], [0, 3, 30], [0, -3, 30.0]]),
                                                         np.array([[0, 1, 2]]))  # fmt: skip
    found = sweep_grown(fin, True, zone, False, STILL, HOT)
    ends = [np.linalg.norm(k * tip - bump) for k in (HOT.k_cold, HOT.k_hot)]
    assert min(ends) > least + 0.3
    assert found.clearance.contains(least)
    assert found.clearance.width <= 0.05
    assert len(found.certificate) == 3
    assert found.factor == pytest.approx((bump @ along) / np.linalg.norm(tip), abs=2e-5)


def test_a_thin_wall_that_sweeps_over_a_scan_point_meets_it():
    """A wall 0.5 thick moves by 2.5 past a point that is in front of it cold and behind it hot, 0.5 clear at both."""
    wall = box((299.0, -20, -20), (299.5, 20, 20))
    point = np.array([[300.5, 0.3, 0.2]])
    found = sweep_grown(wall, True, point, False, STILL, HOT)
    ends = [s.clearance.upper for k, s in found.certificate if k in (HOT.k_cold, HOT.k_hot)]
    assert min(ends) > 0.5
    assert found.clearance.contains(-0.25)  # in the middle of the wall, give or take 0.1 % of it
    assert found.clearance.upper <= 0
    assert HOT.k_cold < found.factor < HOT.k_hot
    assert 299.0 * found.factor - 1e-6 <= 300.5 <= 299.5 * found.factor + 1e-6


def test_growth_and_rock_together():
    """The tip of a bar 300 long rolls by +-3 degrees past a wall: 5 - 2.592 where it points at the wall, hot."""
    needle = Mesh(np.array([[300.0, 0, 15.0], [250, 0, 0], [250, 1, 0]]), np.array([[0, 1, 2]]))
    wall = box((306, -60, -60), (310, 60, 60))
    arm = np.hypot(300.0, 15.0)
    found = sweep_grown(needle, False, wall, True, rocking(roll_deg=(-5, 5)), HOT)
    assert found.clearance.contains(306 - 1.00864 * arm)
    assert found.clearance.width <= 0.05
    assert found.hot
    assert np.degrees(abs(found.worst.worst.roll_rad)) == pytest.approx(np.degrees(np.arctan2(15, 300)), abs=0.7)


def test_swallowed_bodies_are_not_clear_however_they_grow():
    found = sweep_grown(BAR, True, box((-50, -50, -50), (350, 50, 50)), True, STILL, HOT)
    assert found.clearance.upper < 0
    assert found.worst.contained


def test_without_growth_it_is_the_sweep():
    still = Growth(anchor=np.zeros(3), k_cold=1.0, k_hot=1.0, spread=0.08, text="")
    found = sweep_grown(BAR, True, np.array([[310.0, 0, 0]]), False, STILL, still)
    assert found.clearance.contains(10.0)
    assert len(found.certificate) == 1


@pytest.mark.parametrize("seed", range(12))
def test_random_scenes_are_no_nearer_at_any_factor_than_the_bound(seed):
    """Torus pieces and scan points beside them, an anchor anywhere about, 2 % growth; 41 factors by brute force."""
    rng = np.random.default_rng(seed)
    shape = trimesh.creation.torus(30.0, 8.0, major_sections=12, minor_sections=6)
    shape.apply_transform(trimesh.transformations.random_rotation_matrix(rng.random(3)))
    part = mesh_of(shape)
    growth = Growth(anchor=rng.uniform(-120, 120, 3), k_cold=0.998, k_hot=1.02, spread=0.08, text="")
    away = rng.normal(size=(8, 3))
    zone = away / np.linalg.norm(away, axis=1)[:, None] * rng.uniform(44, 60, (8, 1))
    found = sweep_grown(part, True, zone, False, STILL, growth)
    seen = [distance(soup(grown(part, growth.anchor, k)), soup(zone)) for k in np.linspace(0.998, 1.02, 41)]
    assert found.clearance.lower <= min(seen) + 1e-6
    if found.clearance.upper > 0:
        assert found.clearance.width <= 0.05 + 1e-6
        assert len(found.certificate) <= 3  # the ends and, at most, the factor that the swept solids point to
        at_worst = distance(soup(grown(part, growth.anchor, found.factor)), soup(zone))
        assert found.clearance.upper == pytest.approx(at_worst, abs=SWEEP_TOLERANCE_MM)
        assert least_between(found.certificate, found.radius_mm) <= min(seen) + 1e-6
    else:
        assert min(seen) < 0.022 * found.radius_mm / 40


def test_a_face_sweeps_a_closed_solid_of_the_right_volume():
    """Between two sizes of a cone with its apex at the anchor: (k_hot^3 - k_cold^3) of height x area / 3."""
    growth = Growth(anchor=np.array([0.0, 0, -50]), k_cold=0.9, k_hot=1.2, spread=0.08, text="")
    for corners in ([0, 1, 2], [0, 2, 1]):
        face = Mesh(np.array([[10.0, 0, 20], [40, 0, 20], [10, 20, 20]]), np.array([corners]))
        solid = swept_by_growth(face, growth)
        shape = trimesh.Trimesh(solid.vertices, solid.faces, process=False)
        assert shape.is_watertight
        assert shape.is_winding_consistent
        assert shape.volume == pytest.approx((1.2**3 - 0.9**3) * 70 * 300 / 3, rel=1e-9)


def test_turns_of_the_swept_solids_count_the_faces_that_pass_over():
    """Of a bar along x from the anchor its tip passes over what is ahead of it; of a thin wall both faces do."""
    bar, wall = swept_by_growth(BAR, HOT), swept_by_growth(box((299.0, -20, -20), (299.5, 20, 20)), HOT)
    ahead = np.array([[301, 1.3, 0.7], [302.5, -3.0, 2.0], [302.7, 0, 0], [150, 1, 2], [150, 10.04, 1], [150, 11, 0]])
    assert igl.winding_number(bar.vertices, bar.faces, ahead) == pytest.approx([1, 1, 0, 0, 1, 0], abs=1e-6)
    passed = np.array([[299.25, 0.3, 0.2], [300.5, 0.3, 0.2], [301.8, 0.3, 0.2], [302.2, 0.3, 0.2]])
    assert igl.winding_number(wall.vertices, wall.faces, passed) == pytest.approx([1, 2, 1, 0], abs=1e-6)
