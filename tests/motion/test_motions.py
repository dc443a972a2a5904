"""Travel, stroke and both turns together: closed forms, and a dense brute-force grid with its motion bound."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
import trimesh
from brute import distance, over_poses
from scenes import SAME_MM, soup
from scipy.spatial.transform import Rotation

from clearance.motion.field import fields, may_be_lower, sampled_states
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.result import MotionState
from clearance.motion.rock import Rock, rock_from
from clearance.motion.sweep import sweep
from clearance.motion.zone_motion import Stroke, Travel, ZoneMotion
from clearance.scene.mesh import Mesh

TOLERANCE = 0.02


def mesh_of(shape: trimesh.Trimesh, by=(0.0, 0, 0)) -> Mesh:
    return Mesh(np.asarray(shape.vertices, float) + by, np.asarray(shape.faces, np.int64))


def unit(v) -> np.ndarray:
    return np.asarray(v, float) / np.linalg.norm(v)


def travel(point, direction, degrees) -> Travel:
    low, high = np.radians(degrees)
    return Travel(point=np.asarray(point, float), direction=unit(direction), range_rad=(low, high))


def stroke(direction, mm) -> Stroke:
    return Stroke(direction=unit(direction), range_mm=mm)


def a_rock(**changed) -> Rock:
    values = {
        "point": [0, 0, 0], "direction": [0, 1, 0], "up": [0, 0, 1], "forward": [1, 0, 0],
        "roll_deg": (-3, 4), "lift_mm": (-1, 2), "shift_mm": (-1, 1),
    }  # fmt: skip
    return rock_from(**{**values, **changed})


@pytest.mark.parametrize("rides", ["engine", "chassis"])
@pytest.mark.parametrize(("phi0_deg", "wanted"), [(3.0, 5.0), (10.0, 305 - 300 * np.cos(np.radians(5.0)))])
def test_travel_past_a_wall(rides, phi0_deg, wanted):
    """A zone's tip 300 from its joint swings past a wall of the part 305 away: 305 - 300 where it passes the normal.

    Both ride on the same carrier, so that the rock, however large, changes nothing.
    """
    phi0 = np.radians(phi0_deg)
    tip = 300 * np.array([np.cos(phi0), 0, -np.sin(phi0)])
    wall = mesh_of(trimesh.creation.box((10, 120, 120)), (310, 0, 0))
    motion = pair_motion(rides, ZoneMotion(rides=rides, travel=travel([0, 7, 0], [0, 3, 0], (-5, 5))), a_rock())
    found = sweep(wall, True, tip[None], False, motion, TOLERANCE)
    assert found.clearance.lower <= wanted <= found.clearance.upper
    assert found.clearance.width <= TOLERANCE
    assert found.angles == ("travel",)
    assert found.worst.roll_rad is None
    assert found.worst.stroke_mm is None
    if phi0_deg == 3.0:
        assert np.degrees(found.worst.travel_rad) == pytest.approx(-3.0, abs=0.7)  # +x turns to -z about +y.


@pytest.mark.parametrize("rides", ["engine", "chassis"])
def test_stroke_towards_a_plane(rides):
    """A point 20 above a plane moves 0 to 12 along a line that falls 3 for every 5: 20 - 12 x 3/5, without a search."""
    plane = Mesh(np.array([[-300.0, -300, 0], [300, -300, 0], [0, 600, 0]]), np.array([[0, 1, 2]]))
    motion = pair_motion(rides, ZoneMotion(rides=rides, stroke=stroke([4, 0, -3], (-2, 12))), a_rock())
    found = sweep(plane, False, np.array([[0.0, 0, 20]]), False, motion, TOLERANCE)
    assert found.clearance.lower <= 20 - 12 * 3 / 5 <= found.clearance.upper + 1e-9
    assert found.clearance.width <= 1e-6
    assert found.worst == replace(MotionState(), stroke_mm=pytest.approx(12.0, abs=1e-6))
    assert (found.evaluations, found.angles, found.cells.shape) == (1, (), (1, 1))


def test_lift_shift_and_stroke_add_up_exactly():
    """Part comes 2 down and the zone 12 x 3/5 up to it, by a part on the engine and a zone on the chassis."""
    plane = Mesh(np.array([[-300.0, -300, 20], [300, -300, 20], [0, 600, 20]]), np.array([[0, 1, 2]]))
    rock = a_rock(roll_deg=(0, 0), lift_mm=(-2, 1))
    motion = pair_motion("engine", ZoneMotion(stroke=stroke([4, 0, 3], (0, 12))), rock)
    found = sweep(plane, False, np.array([[0.0, 0, 0]]), False, motion, TOLERANCE)
    assert found.clearance.lower <= 20 - 2 - 12 * 3 / 5 <= found.clearance.upper + 1e-9
    assert (found.worst.lift_mm, found.worst.stroke_mm) == pytest.approx((-2.0, 12.0), abs=1e-6)
    assert found.evaluations == 1


def test_a_small_body_inside_what_a_point_sweeps_is_not_clear():
    """The box that a point sweeps over lift, shift and stroke, 20 wide, swallows a cube of side 2."""
    cube = mesh_of(trimesh.creation.box((2, 2, 2)))
    rock = a_rock(roll_deg=(0, 0), lift_mm=(-10, 10), shift_mm=(-10, 10))
    motion = pair_motion("engine", ZoneMotion(stroke=stroke([0, 1, 0], (-10, 10))), rock)
    found = sweep(cube, True, np.array([[4.0, 3, 2]]), False, motion, TOLERANCE)
    assert found.clearance.upper < 0
    assert sweep(cube, True, np.array([[4.0, 3, 14.0]]), False, motion, TOLERANCE).clearance.contains(3.0)


def test_a_zone_on_the_engine_does_not_move_under_rock():
    cube = mesh_of(trimesh.creation.box((20, 20, 20)))
    point = np.array([[17.0, 3, 2]])
    found = sweep(cube, True, point, False, pair_motion("engine", ZoneMotion(rides="engine"), a_rock()), TOLERANCE)
    assert found.clearance.contains(7.0)
    assert found.clearance.width < 1e-6
    assert found.worst == MotionState()


def posed_brute(part, zone, part_rides, motion: ZoneMotion, rock, values):
    """Triangles of both at (n, 5) roll, lift, shift, travel, stroke, from the definitions with scipy's rotations."""
    roll, lift, shift, swing, push = values.T
    p, z = (np.broadcast_to(soup(x), (len(values), *soup(x).shape)) for x in (part, zone))
    if motion.stroke is not None:
        z = z + (push[:, None] * motion.stroke.direction)[:, None, None]
    if motion.travel is not None:
        turn = Rotation.from_rotvec(swing[:, None] * motion.travel.direction).as_matrix().swapaxes(1, 2)[:, None]
        z = (z - motion.travel.point) @ turn + motion.travel.point
    turn = Rotation.from_rotvec(roll[:, None] * rock.direction).as_matrix().swapaxes(1, 2)[:, None]
    by = (lift[:, None] * rock.up + shift[:, None] * rock.forward)[:, None, None]
    if part_rides == "engine":
        p = (p - rock.point) @ turn + rock.point + by
    if motion.rides == "engine":
        z = (z - rock.point) @ turn + rock.point + by
    return p, z


def random_pair(seed: int):
    rng = np.random.default_rng(seed)
    carriers = [("engine", "chassis"), ("chassis", "engine"), ("engine", "engine"), ("engine", "chassis")][seed % 4]
    part = mesh_of(trimesh.creation.icosphere(subdivisions=1, radius=15.0))
    centre = unit(rng.normal(size=3)) * rng.uniform(35, 60)
    zone: Mesh | np.ndarray = rng.normal(size=(12, 3)) * 8 + centre
    if rng.random() < 0.5:
        zone = mesh_of(trimesh.creation.box(rng.uniform(4, 16, 3)), centre)
    rock = a_rock(
        point=rng.normal(size=3) * 60, direction=rng.normal(size=3), up=rng.normal(size=3), forward=rng.normal(size=3),
        roll_deg=(-rng.uniform(0, 4), rng.uniform(0, 4)), lift_mm=(-rng.uniform(0, 3), 2), shift_mm=(-1, 1.5),
    )  # fmt: skip
    motion = ZoneMotion(
        rides=carriers[1],
        travel=travel(centre + rng.normal(size=3) * 40, rng.normal(size=3), (-rng.uniform(0, 6), rng.uniform(0, 6))),
        stroke=stroke(rng.normal(size=3), (-rng.uniform(0, 3), rng.uniform(0, 4))) if rng.random() < 0.7 else None,
    )
    return part, zone, carriers[0], motion, rock, rng


def box_of(part_rides, motion: ZoneMotion, rock: Rock) -> tuple[np.ndarray, np.ndarray]:
    rocks = part_rides != motion.rides
    ranges = [rock.roll_rad, rock.lift_mm, rock.shift_mm] if rocks else [(0.0, 0.0)] * 3
    ranges.append(motion.travel.range_rad if motion.travel else (0.0, 0.0))
    ranges.append(motion.stroke.range_mm if motion.stroke else (0.0, 0.0))
    return tuple(np.array(ranges).T)


def as_values(state: MotionState) -> np.ndarray:
    told = (state.roll_rad, state.lift_mm, state.shift_mm, state.travel_rad, state.stroke_mm)
    return np.array([0.0 if v is None else v for v in told])


def grid_and_bound(part, zone, part_rides, motion, rock, steps=(7, 3, 3, 7, 3)):
    """Least over a grid of states, and how far any state may be below it: no point moves farther to the nearest."""
    low, high = box_of(part_rides, motion, rock)
    sides = [np.linspace(a, b, n if b > a else 1) for a, b, n in zip(low, high, steps, strict=True)]
    values = np.array(list(product(*sides)))
    p, z = posed_brute(part, zone, part_rides, motion, rock, values)
    half = (high - low) / (np.array(steps) - 1) / 2
    far = max(np.abs(p).max(), np.abs(z).max()) * np.sqrt(3)
    arm_roll, arm_travel = far + np.linalg.norm(rock.point), far + np.linalg.norm(motion.travel.point)
    return over_poses(p, z).min(), half[0] * arm_roll + half[3] * arm_travel + half[1] + half[2] + half[4]


@pytest.mark.parametrize("seed", range(16))
def test_five_parameters_against_brute_force(seed):
    part, zone, part_rides, motion, rock, rng = random_pair(seed)
    found = sweep(part, True, zone, isinstance(zone, Mesh), pair_motion(part_rides, motion, rock), TOLERANCE)
    least, bound = grid_and_bound(part, zone, part_rides, motion, rock)
    if found.clearance.upper <= 0:
        assert least <= bound
        return
    low, high = box_of(part_rides, motion, rock)
    near = as_values(found.worst) + rng.normal(size=(300, 5)) * 10 ** rng.uniform(-4, -0.5, (300, 1)) * (high - low)
    by_chance = np.vstack([rng.uniform(low, high, (300, 5)), np.clip(near, low, high)])
    seen = over_poses(*posed_brute(part, zone, part_rides, motion, rock, by_chance)).min()
    assert found.clearance.lower <= min(least, seen) + 1e-9
    assert found.clearance.width <= TOLERANCE
    assert found.clearance.upper >= least - bound
    values = as_values(found.worst)[None]
    assert ((values >= low - 1e-12) & (values <= high + 1e-12)).all()
    there = distance(*(x[0] for x in posed_brute(part, zone, part_rides, motion, rock, values)))
    assert there == pytest.approx(found.clearance.upper, abs=SAME_MM)
    part_pose, zone_pose = pair_motion(part_rides, motion, rock).poses(found.worst)
    between = part_pose.apply(found.on_part) - zone_pose.apply(found.on_zone)
    assert np.linalg.norm(between) == pytest.approx(found.clearance.upper, abs=SAME_MM)
    assert part_pose.rotation @ found.direction @ between == pytest.approx(found.clearance.upper, abs=SAME_MM)


@pytest.mark.parametrize("seed", [0, 1, 4, 8])
def test_cells_cover_the_box_of_angles_and_hold_in_each(seed):
    part, zone, part_rides, motion, rock, rng = random_pair(seed)
    found = sweep(part, True, zone, isinstance(zone, Mesh), pair_motion(part_rides, motion, rock), 0.3)
    assert found.angles == ("roll", "travel")
    low, high = box_of(part_rides, motion, rock)
    turning = [0, 3]
    assert found.cells.shape[1] == 5
    area = np.prod(found.cells[:, 2:4] - found.cells[:, :2], axis=1).sum()
    assert area == pytest.approx(np.prod((high - low)[turning]), rel=1e-9)
    assert found.cells[:, 4].min() == found.clearance.lower
    cells = found.cells[rng.permutation(len(found.cells))[:60]]
    values = rng.uniform(low, high, (len(cells), 8, 5))
    values[:, :, turning] = cells[:, None, :2] + rng.random((len(cells), 8, 2)) * (
        cells[:, None, 2:4] - cells[:, None, :2]
    )
    for cell, states in zip(cells, values, strict=True):
        assert over_poses(*posed_brute(part, zone, part_rides, motion, rock, states)).min() >= cell[4] - 1e-9


@pytest.mark.parametrize("seed", range(8))
def test_fields_hold_the_dense_minimum_of_each_vertex(seed):
    part, zone, part_rides, motion, rock, rng = random_pair(seed)
    pair = pair_motion(part_rides, motion, rock)
    points = zone if not isinstance(zone, Mesh) else zone.vertices
    _, on_zone = fields(part, points, False, pair, 200.0)
    low, high = box_of(part_rides, motion, rock)
    values = rng.uniform(low, high, (150, 5))
    lower = may_be_lower(pair, points)
    for i, point in enumerate(points):
        p, z = posed_brute(part, point[None], part_rides, motion, rock, values)
        assert over_poses(p, z).min() >= on_zone.values_mm[i] - lower[i] - 1e-9
    sampled = np.array([as_values(state) for state in sampled_states(pair)])
    p, z = posed_brute(part, points, part_rides, motion, rock, sampled)
    assert on_zone.values_mm.min() == pytest.approx(over_poses(p, z).min(), abs=0.25 + 1e-9)


def test_an_unknown_carrier_is_refused():
    with pytest.raises(ValueError, match="gearbox"):
        pair_motion("engine", "gearbox", a_rock())
    assert pair_motion("engine", ZoneMotion(rides="chassis"), None).angles == PairMotion().angles == ()
