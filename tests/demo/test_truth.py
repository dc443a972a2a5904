"""The stated truth against trimesh's closest points and against what the scene is meant to show."""

from __future__ import annotations

import json
import tomllib

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

JOBS = ("rev_a", "rev_b", "rev_b_gap_in_scan")
SCANNED = {
    "frame rail": "frame rail", "left shaft": "left shaft", "brake line": "brake line", "bulkhead": "bulkhead",
    "everything else": "rest",
}  # fmt: skip
GUARD_MM = 3.5
"""More than any zone's guard here: 1.65 x 0.6 mm of random errors and 2.5 mm of point spacing."""


def rocked(points: np.ndarray, rock: dict, roll_deg: float, lift_mm: float, shift_mm: float) -> np.ndarray:
    turn = Rotation.from_rotvec(np.radians(roll_deg) * np.array(rock["axis"]))
    return turn.apply(points - rock["point"]) + rock["point"] + [shift_mm, 0.0, lift_mm]


def near_samples(corners: np.ndarray, around: np.ndarray, reach: float) -> np.ndarray:
    """Corners, edge middles and centroids of the triangles about a point."""
    near = corners[np.linalg.norm(corners.mean(axis=1) - around, axis=1) < reach]
    middles = (near + np.roll(near, 1, axis=1)) / 2
    return np.concatenate([near.reshape(-1, 3), near.mean(axis=1), middles.reshape(-1, 3)])


@pytest.mark.parametrize("when", ["at_rest", "over_rock"])
@pytest.mark.parametrize("zone", list(SCANNED))
@pytest.mark.parametrize("name", ["rev_a", "rev_b"])
def test_truth_is_attained_and_not_undercut(truth, parts_in_bay, true_surfaces, name, zone, when):
    """At the stated pose trimesh finds the stated distance; at other poses nothing lower."""
    said = truth["jobs"][name][zone][when]
    pose = (said["at"]["roll_deg"], said["at"]["lift_mm"], said["at"]["shift_mm"])
    samples = near_samples(parts_in_bay[name], np.array(said["on_part_mm"]), 8.0)
    surface = true_surfaces[SCANNED[zone]]

    def distance(points: np.ndarray, at: tuple[float, float, float]) -> float:
        return float(trimesh.proximity.closest_point_naive(surface, rocked(points, truth["rock"], *at))[1].min())

    one = distance(np.array([said["on_part_mm"]]), pose)
    assert one == pytest.approx(said["upper_mm"], abs=2e-3)  # four decimals written
    assert distance(samples, pose) >= said["lower_mm"]
    if when == "over_rock":
        rock = truth["rock"]
        ends = [(r, up, s) for r in rock["roll_deg"] for up in rock["lift_mm"] for s in rock["shift_mm"]]
        assert min(distance(samples[::4], at) for at in ends) >= said["lower_mm"]


@pytest.mark.parametrize("name", ["rev_a", "rev_b"])
def test_no_vertex_undercuts_over_a_coarse_grid(truth, parts_in_bay, true_surfaces, name):
    """The part's lowest vertices, 8 rolls by the ends of lift and shift."""
    said = truth["jobs"][name]["frame rail"]["over_rock"]
    vertices = np.unique(parts_in_bay[name].reshape(-1, 3), axis=0)
    low = vertices[vertices[:, 2] < vertices[:, 2].min() + 4.0]
    rock, surface = truth["rock"], true_surfaces["frame rail"]
    least = min(
        trimesh.proximity.closest_point_naive(surface, rocked(low, rock, roll, lift, shift))[1].min()
        for roll in np.linspace(*rock["roll_deg"], 8) for lift in rock["lift_mm"] for shift in rock["shift_mm"]
    )  # fmt: skip
    assert said["lower_mm"] <= least <= said["upper_mm"] + 0.5  # vertices and end poses only: may miss the low spot


def test_rail_under_rev_a_in_closed_form(truth, parts_in_bay):
    """The rail's top is the plane z = 200 over |x + 128| <= 16: at full drop the height above it bounds the truth."""
    rock = truth["rock"]
    lowest = np.inf
    for shift in np.linspace(*rock["shift_mm"], 9):
        there = rocked(parts_in_bay["rev_a"].reshape(-1, 3), rock, rock["roll_deg"][1], rock["lift_mm"][0], shift)
        over = there[np.abs(there[:, 0] + 128.0) <= 16.0]
        lowest = min(lowest, float(over[:, 2].min()) - 200.0)
    said = truth["jobs"]["rev_a"]["frame rail"]["over_rock"]
    assert said["lower_mm"] <= lowest <= said["upper_mm"] + 0.2  # vertices only


def test_actuator_never_moves_against_the_part(truth):
    for job in truth["jobs"].values():
        zone = job["wastegate actuator"]
        assert zone["at_rest"] == zone["over_rock"]
        assert zone["over_rock"]["lower_mm"] >= zone["gap_mm"] + GUARD_MM


def test_rev_a_clears_the_rail_at_rest_and_not_at_full_roll(truth):
    rail = truth["jobs"]["rev_a"]["frame rail"]
    assert rail["at_rest"]["lower_mm"] >= rail["gap_mm"] + GUARD_MM
    assert 3.0 <= rail["gap_mm"] - rail["over_rock"]["upper_mm"] <= 7.0


@pytest.mark.parametrize("name", JOBS)
def test_every_other_gap_is_kept_with_room_for_the_guard(truth, name):
    for zone, said in truth["jobs"][name].items():
        if (name, zone) != ("rev_a", "frame rail"):
            assert said["over_rock"]["lower_mm"] >= said["gap_mm"] + GUARD_MM, zone


def test_landmarks_are_picked_to_a_fraction_of_a_millimetre(truth, demo_folder):
    pose = np.array(truth["T_bay_part"])
    for name, mark in truth["landmarks"].items():
        assert np.allclose(pose[:3, :3] @ mark["part_mm"] + pose[:3, 3], mark["bay_mm"], atol=1e-9), name
        assert np.linalg.norm(np.subtract(mark["picked_mm"], mark["bay_mm"])) < 0.5
        assert json.dumps(mark["picked_mm"]) in (demo_folder / "rev_a.toml").read_text()
    assert not np.allclose(pose[:3, :3], np.eye(3), atol=0.1)


def test_truth_holds_the_gaps_of_the_jobs(truth, demo_folder):
    for name in JOBS:
        job = tomllib.loads((demo_folder / f"{name}.toml").read_text())
        assert {z["name"]: z["gap"] for z in job["zone"]} == {z: s["gap_mm"] for z, s in truth["jobs"][name].items()}
        assert job["rock"]["roll"] == truth["rock"]["roll_deg"]
