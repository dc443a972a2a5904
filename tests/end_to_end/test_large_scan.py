"""A scan taken for a large one, and so thinned far from the part, gives the bounds and verdicts of the whole scan."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearance.pipeline import check
from clearance.scene import sieve

FAR = """
[[zone]]
name = "far wall"
kind = "chassis"
where = { box = { min = [-400, 150, -400], max = [400, 400, 400] } }
gap = 5
[[zone]]
name = "swinging"
kind = "axle"
where = { box = { min = [-400, -220, -400], max = [400, -150, 400] } }
travel = { about = [0, -200, -300], axis = [1, 0, 0], degrees = [-2, 2] }
gap = 5
"""


@pytest.fixture
def wide(scene):
    """The bar's scene with a wall 300 mm off, a swinging one, a wide floor far below, and a flying point."""
    rng = np.random.default_rng(5)
    near = np.asarray(trimesh.load(scene.folder / "bay.ply").vertices)
    u, v = rng.uniform(-150, 150, (2, 20_000))
    far = np.column_stack([u, 320 + rng.normal(0, 0.05, u.size), v])
    swung = np.column_stack([u, -200 + rng.normal(0, 0.05, u.size), v])
    below = np.column_stack([2 * u, 2 * v, -420 + rng.normal(0, 0.05, u.size)])
    trimesh.PointCloud(np.vstack([near, far, swung, below, [[0, 100, 0]]])).export(scene.folder / "bay.ply")
    scene.job.write_text(scene.job.read_text().replace("[rock]", FAR + "[rock]"))
    scene.edit("accuracy = 0.05", "accuracy = 0.05\nnoise = 0.05")
    return scene


def test_same_as_the_whole_scan(wide, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = check(wide.job)
    monkeypatch.setattr(sieve, "WHOLE", 0)
    thin = check(wide.job)
    assert thin.scan is not None
    assert whole.scan is not None
    assert thin.scan.thinned is not None
    assert thin.scan.thinned.sum() > 1000
    assert len(thin.scan.points) < len(whole.scan.points)
    for one, other in zip(whole.zones, thin.zones, strict=True):
        assert one.zone.name == other.zone.name
        assert one.verdict == other.verdict
        # The same points decide; their surface is fitted to the same neighbours.
        assert other.sweep.clearance.lower == pytest.approx(one.sweep.clearance.lower, abs=1e-9)
        assert other.sweep.clearance.upper == pytest.approx(one.sweep.clearance.upper, abs=1e-9)
        assert other.nearest_raw_point_mm == pytest.approx(one.nearest_raw_point_mm, abs=1e-9)
    assert thin.verdict == whole.verdict
    assert thin.inputs == whole.inputs


def test_part_elsewhere_than_the_job_could_tell(wide, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where only the scan tells the part's place, the scan is read again about it, with all its points there."""
    from clearance.layout import placement

    monkeypatch.setattr(sieve, "WHOLE", 0)
    monkeypatch.setattr(placement, "_stated_pose", lambda job, part: None)
    told = list[str]()
    placed = placement.place(wide.job, told.append)
    assert "reading the scan again about the placed part" in told
    assert placed.scan is not None
    assert placed.scan.thinned is not None
    near = np.abs(placed.scan.points[:, 1] - 45) < 1
    points = np.asarray(trimesh.load(wide.folder / "bay.ply").vertices)
    beside = (np.abs(points[:, 1] - 45) < 1) & (np.abs(points[:, 0]) < 100) & (np.abs(points[:, 2]) < 20)
    there = {p.tobytes() for p in placed.scan.points[near & ~placed.scan.thinned]}
    assert beside.sum() > 500
    assert all(p.tobytes() in there for p in points[beside])
