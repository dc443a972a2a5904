"""Growth against the standard's values and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from brute import distance
from report_kinds import GROWS

from clearance.frames import identity
from clearance.job.read import read_job
from clearance.job.schema import Job
from clearance.scene.mesh import Mesh
from clearance.verify.cells import prove_cells
from clearance.verify.grown import growing_of
from clearance.verify.paths import path_of
from clearance.verify.target import Target

K_HOT = 1 + 18.0e-6 * 480
"""EN 10088-1, 1.4301: mean coefficient 18.0e-6/K from 20 to 500 degrees C."""


@pytest.fixture
def job(tmp_path) -> Job:
    (tmp_path / "job.toml").write_text(GROWS)
    (tmp_path / "bar.stl").write_text("never read")
    (tmp_path / "bay.ply").write_text("never read")
    return read_job(tmp_path / "job.toml")


def test_factors_are_those_of_the_standard(job):
    growing = growing_of(job, identity("bay", "part"))
    assert (growing.k_cold, growing.k_hot) == (1.0, pytest.approx(K_HOT, abs=1e-12))
    assert growing.anchor.tolist() == [-100, 0, 0]
    # 200 mm from the anchor, known to 8 %, rectangular (JCGM 100:2008, 4.3.7).
    tip = np.array([-100 + 200 * K_HOT, 0, 0])
    assert growing.sigma_mm(tip, K_HOT) == pytest.approx(0.08 * 200 * (K_HOT - 1) / np.sqrt(3), abs=1e-9)


def test_a_part_modelled_hot_and_used_in_the_cold(job):
    heat = job.heat.model_copy(update={"modelled_at": 500.0, "ambient": 20.0})
    growing = growing_of(job.model_copy(update={"heat": heat}), identity("bay", "part"))
    assert (growing.k_cold, growing.k_hot) == (pytest.approx(2 - K_HOT, abs=1e-12), 1.0)


def _still():
    job = Job.model_validate(
        {
            "part": {"file": "p.stl", "unit": "mm", "tolerance": 0.0},
            "register": {"method": "given", "shift": [0.0, 0.0, 0.0]},
            "zone": [{"name": "z", "kind": "line", "gap": 1.0, "where": {"rest": True}}],
        }
    )
    return path_of(job, job.zones[0], np.zeros(3))


def _proved(target: Target, pieces, claim: float, factors) -> float | None:
    still = np.zeros((1, 2))
    ended = prove_cells(target, _still(), pieces, still, still, np.array([claim]), 2_000_000, np.array([factors]))
    assert not ended.gave_up
    return ended.nearer_mm


def test_what_is_nearest_in_the_middle_of_the_growth():
    """A sheet across x, 200 mm from its anchor, its upper edge at the anchor's height, passes under a point."""
    sheet = np.array([[200.0, -40, 0], [200, 40, 0], [200, 0, -50]])
    target = Target(Mesh(sheet, np.array([[0, 1, 2]])), np.zeros(3))
    gap, point = 4.0, np.array([[[200 * (1 + K_HOT) / 2, 0, 4.0]]])
    at_ends = np.hypot(gap, 200 * (K_HOT - 1) / 2)
    assert at_ends > gap + 0.09
    assert _proved(target, point, at_ends - 1e-6, (1.0, 1.0)) is None
    assert _proved(target, point, at_ends - 1e-6, (K_HOT, K_HOT)) is None
    assert _proved(target, point, gap - 1e-3, (1.0, K_HOT)) is None
    nearer = _proved(target, point, at_ends - 1e-3, (1.0, K_HOT))
    assert gap - 1e-9 <= nearer < at_ends - 1e-3


@pytest.mark.parametrize("seed", range(4))
def test_random_sheets_against_sampled_growth(seed):
    """500 factors lie within 0.002 mm of any other; a claim that much below the least holds, one above it does not."""
    rng = np.random.default_rng(seed)
    part = rng.normal(size=(6, 3, 3)) * 15 + [60, 0, 0]
    zone = rng.normal(size=(5, 1, 3)) * 15 + rng.normal(size=(5, 3, 3)) * 5 + [120, 0, 0]
    anchor = np.array([-40.0, 5, 0])
    target = Target(Mesh(part.reshape(-1, 3), np.arange(18).reshape(-1, 3)), anchor)
    least = min(distance(anchor + k * (part - anchor), zone) for k in np.linspace(0.99, 1.01, 500))
    assert least > 1
    assert _proved(target, zone, least - 0.01, (0.99, 1.01)) is None
    assert least - 0.01 <= _proved(target, zone, least + 0.01, (0.99, 1.01)) < least + 0.01


def test_grown_distances_are_those_of_a_grown_mesh():
    rng = np.random.default_rng(1)
    corners, anchor, points = rng.normal(size=(9, 3)) * 50, np.array([10.0, -20, 5]), rng.normal(size=(40, 3)) * 90
    faces = np.arange(9).reshape(-1, 3)
    found = Target(Mesh(corners, faces), anchor).distance(points, 1.02)
    assert found == pytest.approx(Target(Mesh(anchor + 1.02 * (corners - anchor), faces)).distance(points), abs=1e-9)
