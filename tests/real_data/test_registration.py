"""Settling real scans on each other, against the pose recorded with them and against itself."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from clearance.frames import Pose, identity, rigid
from clearance.registration.cloud import CloudModel, cloud_model
from clearance.registration.fine import refined
from clearance.registration.result import Registration

pytestmark = pytest.mark.real_data

# Recorded to about 0.2 degrees: so far apart are five fits by two general libraries. Half a degree and 50 mm of a
# scene 80 m across are what a fit may differ from the record.
LIDAR_DEG, LIDAR_MM = 0.5, 50.0


def _points(path: Path) -> np.ndarray:
    points = np.asarray(trimesh.load(path, process=False).vertices, np.float64) * 1000
    return points[np.linalg.norm(points, axis=1) > 1]  # lost returns stand at the origin


def _start(pose: Pose, model: CloudModel, sigma_mm: float, sigma_deg: float) -> Registration:
    return Registration(
        method="given", T_bay_part=pose, converged=True, centre=pose.apply(model.points.mean(axis=0)),
        covariance=np.diag([np.radians(sigma_deg) ** 2] * 3 + [sigma_mm**2] * 3),
    )  # fmt: skip


def _moved(pose: Pose, model: CloudModel, shift_mm: float, turn_deg: float, seed: int) -> Pose:
    """Move `pose` by so much in a direction and about an axis drawn at random, about the model's middle."""
    rng = np.random.default_rng(seed)
    way, axis = (v / np.linalg.norm(v) for v in rng.normal(size=(2, 3)))
    turn = Rotation.from_rotvec(np.radians(turn_deg) * axis).as_matrix()
    centre = pose.apply(model.points.mean(axis=0))
    return rigid("bay", "bay", turn, centre + shift_mm * way - turn @ centre) @ pose


def _apart_deg(a: Pose, b: Pose) -> float:
    return float(np.degrees(Rotation.from_matrix(a.rotation.T @ b.rotation).magnitude()))


@pytest.fixture(scope="module")
def lidar(real_data: Path) -> tuple[CloudModel, np.ndarray, Pose]:
    """The earlier scan as a model, the later one, and the recorded pose between them."""
    matrix = np.loadtxt(real_data / "lidar" / "T_target_source.txt")
    rotation = Rotation.from_matrix(matrix[:3, :3]).as_matrix()
    recorded = rigid("bay", "part", rotation, 1000 * matrix[:3, 3])
    return (
        cloud_model(_points(real_data / "lidar" / "source.ply")),
        _points(real_data / "lidar" / "target.ply"),
        recorded,
    )


@pytest.mark.parametrize("moved", [None, (500, 1, 0), (500, 2, 1), (1000, 3, 2), (1500, 4, 3)])
def test_outdoor_scans_meet_as_recorded(lidar, moved):
    model, scan, recorded = lidar
    pose = identity("bay", "part") if moved is None else _moved(recorded, model, *moved)
    placed = refined(_start(pose, model, 500, 1.0), model, scan, 0.0)
    assert placed.converged, placed.notes
    assert _apart_deg(placed.T_bay_part, recorded) < LIDAR_DEG
    assert np.linalg.norm(placed.T_bay_part.translation - recorded.translation) < LIDAR_MM


@pytest.mark.parametrize(
    ("moved", "doubt"),
    [
        ((5000, 0, 0), (500, 1.0)),
        ((3000, 10, 1), (500, 1.0)),
        ((3000, 20, 1), (10_000, 60.0)),
        ((0, 90, 2), (10_000, 60.0)),
        ((0, 180, 3), (10_000, 60.0)),
        ((20_000, 10, 4), (10_000, 60.0)),
    ],
)
def test_a_start_far_off_is_never_accepted_wrong(lidar, moved, doubt):
    """However wide the start's own doubt: what is accepted is right, else the start stands and says so."""
    model, scan, recorded = lidar
    start = _start(_moved(recorded, model, *moved), model, *doubt)
    placed = refined(start, model, scan, 0.0)
    if doubt == (500, 1.0):
        assert not placed.converged
    if placed.converged:
        assert _apart_deg(placed.T_bay_part, recorded) < LIDAR_DEG
        assert np.linalg.norm(placed.T_bay_part.translation - recorded.translation) < LIDAR_MM
    else:
        assert placed.T_bay_part is start.T_bay_part
        assert placed.notes[-1].startswith("refine: ")


@pytest.fixture(scope="module")
def views(real_data: Path) -> tuple[np.ndarray, np.ndarray, Pose]:
    """Two partial views of one object, 1 m across, and roughly how they fit (found by feature matching)."""
    if not (real_data / "cgal" / "hippo1.ply").exists():
        pytest.skip("the Debian package of the partial views is not reachable from every machine")
    roughly = rigid("bay", "part", Rotation.from_euler("y", 43, degrees=True).as_matrix(), (100, 10, -45))
    return _points(real_data / "cgal" / "hippo1.ply"), _points(real_data / "cgal" / "hippo2.ply"), roughly


def test_partial_views_meet_the_same_way_from_eight_starts(views):
    first, scan, roughly = views
    model = cloud_model(first)
    found = []
    for seed in range(8):
        placed = refined(_start(_moved(roughly, model, 15, 4, seed), model, 20, 4), model, scan, 0.0)
        assert placed.converged, placed.notes
        found.append(placed.T_bay_part)
    assert max(_apart_deg(found[0], pose) for pose in found) < 0.06
    # The spread of a tenth of the point spacing.
    assert max(np.linalg.norm(found[0].translation - pose.translation) for pose in found) < 0.5
    # Share of the second view within two pitches, 10 mm, of the first. A trial by feature matching with a general
    # library had 0.797, its limit not on record; between 8 and 12 mm this share runs from 0.77 to 0.82.
    overlap = (cKDTree(found[0].apply(first)).query(scan)[0] < 10).mean()
    assert overlap == pytest.approx(0.797, abs=0.03)


@pytest.mark.parametrize("seed", range(6))
def test_partial_views_turned_at_random_are_never_accepted_wrong(views, seed):
    first, scan, roughly = views
    model = cloud_model(first)
    turn = Rotation.random(random_state=seed).as_matrix()
    middle = model.points.mean(axis=0)
    pose = rigid("bay", "part", turn, scan.mean(axis=0) - turn @ middle)
    placed = refined(_start(pose, model, 500, 60), model, scan, 0.0)
    if placed.converged:
        assert _apart_deg(placed.T_bay_part, roughly) < 2
    else:
        assert placed.notes[-1].startswith("refine: ")
