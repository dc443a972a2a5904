"""Motions and proofs against matrices and closed forms."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
import trimesh
from brute import distance
from scipy.spatial.transform import Rotation

from clearance.job.schema import Job
from clearance.scene.mesh import Mesh
from clearance.verify.cells import prove_cells
from clearance.verify.hull import hull_distance
from clearance.verify.paths import path_of
from clearance.verify.target import Target, distance_to_triangles

BUDGET = 2_000_000


def _job(part_rides: str, zone_rides: str, **zone) -> Job:
    return Job.model_validate(
        {
            "part": {"file": "p.stl", "unit": "mm", "tolerance": 0.0, "rides": part_rides},
            "register": {"method": "given", "shift": [0.0, 0.0, 0.0]},
            "zone": [
                {"name": "z", "kind": "axle", "rides": zone_rides, "gap": 1.0, "where": {"rest": True}, **zone},
            ],
            "rock": {
                "axis": {"point": [10.0, -5.0, 3.0], "direction": [1.0, 2.0, 0.5]},
                "roll": [-4.0, 6.0],
                "up": [0.0, 0.6, 0.8],
                "lift": [-1.0, 2.0],
                "shift": [-3.0, 1.0],
            },
        }
    )


OWN = {
    "travel": {"about": [5.0, 6.0, 7.0], "axis": [0.0, 1.0, 1.0], "degrees": [-8.0, 12.0]},
    "stroke": {"axis": [1.0, 1.0, 0.0], "mm": [0.0, 9.0]},
}


def _turn(point, axis, angle):
    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.from_rotvec(angle * np.array(axis) / np.linalg.norm(axis)).as_matrix()
    matrix[:3, 3] = point - matrix[:3, :3] @ point
    return matrix


def _move(way):
    matrix = np.eye(4)
    matrix[:3, 3] = way
    return matrix


@pytest.mark.parametrize("rides", [("engine", "chassis"), ("chassis", "engine"), ("engine", "engine")])
def test_what_the_part_sees_is_the_product_of_the_poses(rides):
    job, origin = _job(*rides, **OWN), np.array([100.0, 20.0, -7.0])
    path = path_of(job, job.zones[0], origin)
    rng = np.random.default_rng(0)
    for _ in range(20):
        roll, travel, stroke, lift, shift = rng.normal(size=5)
        rock = _move(lift * np.array([0, 0.6, 0.8]) + shift * np.array([1, 0, 0]))
        rock = rock @ _turn(np.array([10, -5, 3]), [1, 2, 0.5], roll)
        own = _turn(np.array([5, 6, 7]), [0, 1, 1], travel) @ _move(stroke * np.array([1, 1, 0]) / np.sqrt(2))
        place = {"chassis": np.eye(4), "engine": rock}
        point = rng.normal(size=3) * 50
        seen = np.linalg.inv(place[rides[0]]) @ place[rides[1]] @ own @ np.append(point, 1)
        slides = [stroke, lift, shift] if rides[0] != rides[1] else [stroke]
        found = path.seen((point - origin)[None, None], np.array([[roll, travel]]), np.array([slides]))
        assert found[0, 0] + origin == pytest.approx(seen[:3], abs=1e-9)


@pytest.mark.parametrize("rides", [("engine", "chassis"), ("chassis", "engine"), ("engine", "engine")])
def test_angles_move_nothing_farther_than_promised(rides):
    job = _job(*rides, **OWN)
    path = path_of(job, job.zones[0], np.zeros(3))
    rng = np.random.default_rng(1)
    k = len(path.slide)
    angles, slides = rng.normal(size=(1, 2)), rng.normal(size=(1, k))
    half_a, half_s = rng.uniform(0.01, 0.5, (1, 2)), rng.uniform(0.1, 5, (1, k))
    corners = rng.normal(size=(1, 3, 3)) * 40
    most = path.falls(corners, angles, half_a, slides, half_s).sum()
    n = 5000
    share = rng.dirichlet([0.5] * 3, n) @ corners[0]
    at_slides = slides + half_s * rng.uniform(-1, 1, (n, k))
    moved = path.seen(share[:, None], angles + half_a * rng.choice([-1.0, 1.0], (n, 2)), at_slides)
    still = path.seen(share[:, None], np.repeat(angles, n, axis=0), at_slides)
    farthest = np.linalg.norm(moved - still, axis=2).max()
    assert farthest <= most
    assert farthest > 0.3 * most  # the promise is not idle


def _plate() -> Mesh:
    box = trimesh.creation.box((400, 400, 10))
    box.apply_translation((0, 0, -5))
    return Mesh(np.asarray(box.vertices, float), np.asarray(box.faces, np.int64))


def _swing() -> tuple[Job, float]:
    """A thing 60 mm from a swing axis 50 mm over a plate that is lifted: 50 - 60 sin 12 deg - 2 is the least."""
    job = _job(
        "engine", "chassis",
        travel={"about": [0.0, 0.0, 50.0], "axis": [0.0, 1.0, 0.0], "degrees": [-8.0, 12.0]},
        stroke={"axis": [0.0, 1.0, 0.0], "mm": [-5.0, 5.0]},
    )  # fmt: skip
    rock = job.rock.model_copy(update={"roll": (0.0, 0.0), "up": (0.0, 0.0, 1.0)})
    return job.model_copy(update={"rock": rock}), 50 - 60 * np.sin(np.radians(12)) - 2


@pytest.mark.parametrize("triangle", [False, True])
def test_a_swing_over_a_plate_in_closed_form(triangle):
    job, truth = _swing()
    path, target = path_of(job, job.zones[0], np.zeros(3)), Target(_plate())
    corners = [[60.0, 0, 50], [40, 9, 55], [30, -9, 60]] if triangle else [[60.0, 0, 50]]
    pieces = np.array([corners])
    box = path.angle_low[None], path.angle_high[None]
    held = prove_cells(target, path, pieces, *box, np.array([truth - 0.002]), BUDGET)
    assert (held.nearer_mm, held.gave_up) == (None, False)
    broken = prove_cells(target, path, pieces, *box, np.array([truth + 0.002]), BUDGET)
    assert truth - 1e-9 <= broken.nearer_mm < truth + 0.002


def test_a_budget_too_small_proves_nothing():
    job, truth = _swing()
    path, target = path_of(job, job.zones[0], np.zeros(3)), Target(_plate())
    box = path.angle_low[None], path.angle_high[None]
    assert prove_cells(target, path, np.array([[[60.0, 0, 50]]]), *box, np.array([truth - 1e-6]), 3).gave_up


@pytest.mark.parametrize("seed", range(12))
def test_random_bodies_at_rest_against_brute_force(seed):
    """Without motion the truth is the distance of two soups: just below it is proved, just above refuted."""
    rng = np.random.default_rng(seed)
    part = trimesh.convex.convex_hull(rng.normal(size=(20, 3)) * 20)
    zone = rng.normal(size=(30, 1, 3)) * 30 + rng.normal(size=(30, 3, 3)) * 10 + [140, 0, 0]
    truth = distance(np.asarray(part.triangles, float), zone)
    target = Target(Mesh(np.asarray(part.vertices, float), np.asarray(part.faces, np.int64)))
    job = _job("engine", "engine")
    path, still = path_of(job, job.zones[0], np.zeros(3)), np.zeros((1, 2))
    assert prove_cells(target, path, zone, still, still, np.array([truth - 1e-4]), BUDGET).nearer_mm is None
    found = prove_cells(target, path, zone, still, still, np.array([truth + 1e-4]), BUDGET).nearer_mm
    assert found is not None
    assert truth - 1e-9 <= found < truth + 1e-4


@pytest.mark.parametrize(("part_rides", "zone_rides"), [("engine", "chassis"), ("chassis", "engine")])
def test_no_state_leaves_the_hull_of_its_ends_by_more_than_the_bend(part_rides, zone_rides):
    """10 000 states of a point that turns by up to 20 degrees, slides and strokes, against all ends of its ranges."""
    rng = np.random.default_rng(8)
    zone = {**OWN, "stroke": {"axis": [1.0, 0.0, 2.0], "mm": [0.0, 6.0]}}
    job = _job(part_rides, zone_rides, **zone)
    path = path_of(job, job.zones[0], np.zeros(3))
    point = np.array([60.0, -80.0, 40.0])
    low = np.concatenate([path.angle_low, path.slide_low])
    high = np.concatenate([path.angle_high, path.slide_high])
    n, m = len(path.angle_low), 10_000

    def placed(at):
        return path.seen(np.broadcast_to(point, (len(at), 1, 3)), at[:, :n], at[:, n:])[:, 0]

    ends = placed(np.array(list(product(*zip(low, high, strict=True)))))
    states = placed(rng.uniform(low, high, size=(m, len(low))))
    middle, half = (low + high)[None] / 2, (high - low)[None] / 2
    falls = path.falls(point[None, None], middle[:, :n], half[:, :n], middle[:, n:], half[:, n:])
    bend = float(path.bend(falls, half[:, :n])[0])
    beyond, _ = hull_distance(ends[None] - states[:, None], np.full(m, bend))
    assert beyond.max() <= bend + 1e-9
    assert beyond.max() > bend / 10  # The bound is not idle.


def test_distance_to_triangles_is_that_of_another_library():
    """Against trimesh: 3000 random pairs, and slivers and points on corners."""
    rng = np.random.default_rng(3)
    triangles, points = rng.normal(size=(3000, 3, 3)), rng.normal(size=(3000, 3)) * 1.5
    triangles[:200, 2] = triangles[:200, 0] + rng.normal(size=(200, 3)) * 1e-3
    points[200:300] = triangles[200:300, 1]
    wanted = np.linalg.norm(trimesh.triangles.closest_point(triangles, points) - points, axis=1)
    assert distance_to_triangles(points, triangles) == pytest.approx(wanted, abs=1e-9)
