"""An engine reference through whole jobs: the part is placed by it, and scan points on it ride with it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from clearance.frames import Pose, rigid
from clearance.pipeline import check, lay_out, place
from clearance.verdict.result import CheckResult, Verdict

Array = NDArray[np.float64]
NOISE_MM = 0.1
TRUE = rigid("bay", "part", Rotation.from_euler("z", 90, degrees=True).as_matrix(), (400, -100, 250))
"""Where the part truly is. Its frame's z stays the bay's."""

CORNERS = ((-80, -60, 0), (120, -60, 0), (120, 60, 0), (-80, 60, 40), (0, 0, 100))
JOB = """\
[part]
file = "part.stl"
unit = "mm"
tolerance = 0.1
[bay]
files = ["bay.ply"]
unit = "mm"
accuracy = 0.02
[engine]
file = "{engine}"
unit = "mm"
peel = {peel}
[register]
method = "landmarks"
refine = {refine}
pair = [
{pairs}]
[[zone]]
name = "bay"
kind = "chassis"
where = {{ rest = true }}
gap = {gap}
[rock]
axis = {{ point = [400, -100, 150], direction = [0, 1, 0] }}
roll = [-3, 3]
"""


def _engine() -> trimesh.Trimesh:
    """Block and head of an engine, part frame: two boxes and a cover, no symmetry, top at z = -15."""
    block = trimesh.creation.box(bounds=[[-90, -70, -160], [130, 70, -60]])
    head = trimesh.creation.box(bounds=[[-80, -40, -60], [110, 50, -15]])
    cover = trimesh.creation.cylinder(radius=35, segment=[(130, -10, -110), (160, -10, -110)], sections=48)
    return trimesh.util.concatenate([block, head, cover])


def _part() -> trimesh.Trimesh:
    """A bar 15 mm over the engine's head."""
    return trimesh.creation.box(bounds=[[-60, -30, 0], [90, 40, 30]])


def _on(shape: trimesh.Trimesh, count: int, seed: int) -> Array:
    points, face = trimesh.sample.sample_surface(shape, count, seed=seed)
    off = np.random.default_rng(seed).normal(0, NOISE_MM, count)
    return np.asarray(points + shape.face_normals[face] * off[:, None])


def _seen_engine() -> Array:
    """Points of the engine from above and all sides, and none from beneath, in the part's frame."""
    points = _on(_engine(), 80_000, 1)
    inner = (np.abs(points[:, 2] + 60) < 0.5) & (np.abs(points[:, 0]) < 75) & (np.abs(points[:, 1]) < 35)
    return points[~inner & (points[:, 2] > -159)]


def _wall() -> Array:
    """Chassis plate z = 75 in the part's frame: 45 mm over the bar."""
    u, v = np.meshgrid(np.arange(-200, 240, 4.0), np.arange(-150, 150, 4.0))
    return np.column_stack([u.ravel(), v.ravel(), 75 + np.random.default_rng(2).normal(0, NOISE_MM, u.size)])


def _job(
    folder: Path, *, error_mm: float = 0.0, peel: bool = True, refine: bool = False, cloud: bool = False, gap: float = 6
) -> Path:
    _part().export(folder / "part.stl")
    engine = "engine.ply" if cloud else "engine.stl"
    if cloud:
        trimesh.PointCloud(_on(_engine(), 20_000, 8)).export(folder / engine)
    else:
        _engine().export(folder / engine)
    trimesh.PointCloud(TRUE.apply(np.vstack([_seen_engine(), _wall()]))).export(folder / "bay.ply")
    wrong = np.random.default_rng(6).normal(0, error_mm, (len(CORNERS), 3)) if error_mm else np.zeros((5, 3))
    bay = TRUE.apply(np.array(CORNERS, np.float64)) + wrong
    pairs = "".join(
        f'  {{ name = "{i}", part = {list(p)}, bay = {b.tolist()} }},\n'
        for i, (p, b) in enumerate(zip(CORNERS, bay, strict=True))
    )
    text = JOB.format(engine=engine, peel=str(peel).lower(), refine=str(refine).lower(), pairs=pairs, gap=gap)
    (folder / "job.toml").write_text(text)
    return folder / "job.toml"


def _off(pose: Pose) -> float:
    """Return how far a corner of the part is out, mm, at most."""
    corners = np.asarray(_part().vertices)
    return float(np.linalg.norm(pose.apply(corners) - TRUE.apply(corners), axis=1).max())


def _named(result: CheckResult, name: str):
    return next(zone for zone in result.zones if zone.zone.name == name)


@pytest.mark.parametrize("cloud", [False, True], ids=["mesh", "cloud"])
def test_points_on_the_engine_ride_with_it_and_the_chassis_stays(tmp_path: Path, cloud: bool):
    result = check(_job(tmp_path, cloud=cloud))
    on, stays = _named(result, "bay, on the engine"), _named(result, "bay")
    # A scan of an engine is unsure of the engine's edges: points there may count with both, or stand still.
    edges = 0.2 * len(_seen_engine()) if cloud else 0.001 * len(_seen_engine())
    assert len(on.zone.points) == pytest.approx(len(_seen_engine()), abs=edges)
    assert len(stays.zone.points) == pytest.approx(len(_wall()), abs=edges)
    # 15 mm from the head whatever the roll: nothing is lost but noise, 4 sigma at most over the points below.
    assert on.sweep.clearance.upper == pytest.approx(15, abs=4 * NOISE_MM + 0.2)
    # Bar's upper corners against z = 75 (part frame): 45 mm less what the roll about y through z = 150 lifts them.
    # In the bay the bar spans x = 400 - 40 to 400 + 30 and its top is at z = 280, 130 mm over the axis.
    a = np.radians(3)
    rise = max(130 * np.cos(a) + arm * np.sin(a) for arm in (30, 40)) - 130
    if not cloud:
        assert stays.sweep.clearance.upper == pytest.approx(45 - rise, abs=4 * NOISE_MM + 0.2)
    assert stays.sweep.clearance.upper < 45 - rise + 4 * NOISE_MM + 0.2
    assert result.verdict is Verdict.PASS, result.reason
    assert any("lie on the engine and were moved with it" in note for note in result.notes)


def test_without_peel_the_rock_would_carry_the_part_into_its_own_engine(tmp_path: Path):
    result = check(_job(tmp_path, peel=False))
    (zone,) = result.zones
    # 3 degrees lower an end of the bar, 40 mm from the axis, by 2 mm towards points that stood still.
    assert zone.sweep.clearance.upper < 15 - 1.5


def test_refine_settles_the_engine_on_the_scan(tmp_path: Path):
    rough = place(_job(tmp_path, error_mm=1.5)).registration
    fine = place(_job(tmp_path, error_mm=1.5, refine=True)).registration
    assert _off(rough.T_bay_part) > 0.5
    # Some thousand points of 0.1 mm noise each.
    assert _off(fine.T_bay_part) < 0.15
    assert fine.converged, fine.notes


def test_refine_on_a_scan_of_the_engine(tmp_path: Path):
    fine = place(_job(tmp_path, error_mm=1.5, refine=True, cloud=True)).registration
    assert _off(fine.T_bay_part) < 0.25
    assert fine.converged, fine.notes


def test_the_part_too_near_its_own_engine_fails(tmp_path: Path):
    result = check(_job(tmp_path, gap=25))
    assert _named(result, "bay, on the engine").verdict is Verdict.FAIL
    assert _named(result, "bay").verdict is Verdict.PASS


@pytest.mark.parametrize("cloud", [False, True], ids=["mesh", "cloud"])
def test_chassis_flush_with_the_engine_beyond_its_rim_does_not_leave_the_chassis(tmp_path: Path, cloud: bool):
    job = _job(tmp_path, cloud=cloud)
    # A chassis strip level with the head's top, from 3 to 12 mm beyond the head's end at x = 110;
    # the points of the engine's scan lie some 3 mm apart.
    x, y = np.meshgrid(np.arange(113, 122.1, 0.5), np.arange(-20, 20.1, 0.5))
    strip = TRUE.apply(np.column_stack([x.ravel(), y.ravel(), np.full(x.size, -15.0)]))
    scan = np.asarray(trimesh.load(tmp_path / "bay.ply").vertices)
    trimesh.PointCloud(np.vstack([scan, strip])).export(tmp_path / "bay.ply")
    zones = lay_out(place(job)).zones.zones
    stays = next(zone for zone in zones if zone.name == "bay")
    still = TRUE.inverse().apply(stays.points)
    there = (still[:, 0] > 112.5) & (np.abs(still[:, 1]) < 20.5) & (np.abs(still[:, 2] + 15) < 0.5)
    assert there.sum() == len(strip)
