"""A large scan is thinned only where that changes nothing: checked against the whole scan, and point by point."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from clearance.job.where import Where
from clearance.scene.condition import condition, conditioned
from clearance.scene.keep import DENSE, FAR_THIN_MM, HALO, HALO_MM, THIN_MM, Keep, NearBody
from clearance.scene.sieve import Sieve, Sifted

NET = Where.model_validate({"sphere": {"center": [55.0, 0.0, 0.0], "diameter": 3.0}})


def sheet(count: int, seed: int = 1) -> np.ndarray:
    """Points strewn over a wavy sheet of 300 x 300 mm."""
    rng = np.random.default_rng(seed)
    x, y = rng.uniform(-150, 150, (2, count))
    return np.column_stack([x, y, 3 * np.sin(x / 40) + rng.normal(0, 0.1, count)])


def body() -> np.ndarray:
    """Places of a ball of 10 mm radius above the sheet's middle."""
    rng = np.random.default_rng(2)
    ways = rng.normal(size=(3000, 3))
    return 10 * ways / np.linalg.norm(ways, axis=1, keepdims=True) + [0, 0, 15.0]


def sifted(points: np.ndarray, keep: Keep, block: int = 7000, whole: int = 0) -> Sifted:
    sieve = Sieve(keep, whole)
    for start in range(0, len(points), block):
        sieve.add(points[start : start + block], 0)
    return sieve.sifted()


def test_every_point_that_may_matter_is_kept_by_itself() -> None:
    points = sheet(120_000)
    within = 25.0
    kept = sifted(points, Keep(body=NearBody(body(), 0.0, within)))
    assert kept.thinned is not None
    near = points[cKDTree(body()).query(points)[0] <= within]
    whole = {p.tobytes() for p in kept.points[~kept.thinned]}
    assert len(near) > 1000
    assert all(p.tobytes() in whole for p in near)
    assert len(kept.points) < len(points)


def test_beside_what_is_kept_all_neighbours_within_the_halo_are_there() -> None:
    points = sheet(120_000)
    kept = sifted(points, Keep(body=NearBody(body(), 0.0, 25.0)))
    there = {p.tobytes() for p in np.concatenate([kept.points, kept.halo])}
    around = cKDTree(points).query_ball_point(kept.points[~kept.thinned], HALO_MM - 1e-6)
    wanted = np.unique(np.concatenate(around).astype(int))
    near_body = cKDTree(body()).query(points[wanted])[0] <= 25.0 + HALO_MM
    assert all(points[i].tobytes() in there for i in wanted[near_body])


@pytest.mark.parametrize("about", [None, (np.full(3, -40.0), np.full(3, 40.0))])
def test_no_surface_vanishes(about: tuple[np.ndarray, np.ndarray] | None) -> None:
    """Every point left out has one that was kept in its cube: no farther than the cube's diagonal."""
    points = sheet(120_000)
    kept = sifted(points, Keep(about=about))
    away = cKDTree(kept.points).query(points)[0]
    side = THIN_MM if about is None else FAR_THIN_MM
    assert away.max() <= side * np.sqrt(3)
    assert len(kept.points) < 0.9 * len(points)


def test_a_net_keeps_a_point_if_it_ever_held_one() -> None:
    """One point in the net shares its cube with earlier ones outside of it."""
    crowd = np.random.default_rng(3).uniform([56.6, 0.0, 0.0], [56.99, 0.4, 0.4], (500, 3))
    points = np.vstack([crowd, [[56.2, 0.1, 0.1]], sheet(30_000)])
    for nets in ((), (NET,)):
        kept = sifted(points, Keep(nets=nets))
        inside = np.linalg.norm(kept.points - [55, 0, 0], axis=1) <= 1.5
        assert np.any((kept.points == [56.2, 0.1, 0.1]).all(axis=1)) == bool(nets)
        assert inside.any() or not nets


def test_blocks_may_be_of_any_size() -> None:
    points, keep = sheet(40_000), Keep(body=NearBody(body(), 0.0, 25.0), nets=(NET,))
    one, other = sifted(points, keep, 40_000), sifted(points, keep, 999)
    for a, b in ((one.points, other.points), (one.halo, other.halo)):
        np.testing.assert_array_equal(np.sort(a, axis=0), np.sort(b, axis=0))


def test_what_blocks_a_line_of_sight_stays() -> None:
    """A rod of 4 mm half way to the station keeps points in every millimetre, at a quarter of the part's pixel."""
    rng = np.random.default_rng(4)
    eye = np.array([0.0, 0, 1000])
    rod = np.column_stack([rng.uniform(-50, 50, 200_000), rng.uniform(-2, 2, 200_000), np.full(200_000, 500.0)])
    kept = sifted(rod, Keep(about=(np.full(3, -50.0), np.full(3, 50.0)), stations=eye[None]))
    away = cKDTree(kept.points).query(rod)[0]
    assert away.max() <= 0.25 * np.sqrt(3)


def test_small_scans_are_kept_whole_in_order() -> None:
    points = sheet(5000)
    kept = sifted(points, Keep(body=NearBody(body(), 0.0, 25.0)), whole=5000)
    assert kept.thinned is None
    np.testing.assert_array_equal(kept.points, points)


def test_near_the_part_spacing_and_strays_are_those_of_the_whole_scan() -> None:
    points = np.vstack([sheet(120_000), [[5.0, 5.0, 40.0], [120.0, -100.0, 60.0]]])
    kept = sifted(points, Keep(body=NearBody(body(), 0.0, 25.0)))
    ours, whole = conditioned(kept, 0.1, 0.0), condition(points, 0.1, 0.0)
    assert ours.thinned is not None
    rows = {p.tobytes(): i for i, p in enumerate(points)}
    index = np.array([rows[p.tobytes()] for p in ours.points])
    dense = ~ours.thinned
    near = dense & ~whole.stray[index]
    np.testing.assert_allclose(ours.spacing_mm[near], whole.spacing_mm[index[near]], rtol=1e-6)
    np.testing.assert_array_equal(ours.stray[dense], whole.stray[index[dense]])
    assert ours.stray[(ours.points[:, 2] > 30)].all()
    true_sixth = cKDTree(points).query(ours.points[ours.thinned], 7)[0][:, 6]
    assert (ours.spacing_mm[ours.thinned] >= true_sixth * (1 - 1e-6)).all()


def test_grid_tells_dense_and_beside() -> None:
    near = NearBody(np.zeros((1, 3)), 0.0, 10.0)
    places = np.array([[0.0, 0, 10], [0, 0, 10 + HALO_MM], [0, 0, 10 + HALO_MM + 12.0]])
    assert near.of(places).tolist()[0] == DENSE
    assert near.of(places).tolist()[1] >= 1
    assert near.of(places).tolist()[2] == 0


def test_about_a_part_of_many_metres_the_grid_is_coarser_and_loses_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(11)
    body = rng.uniform(-2000, 2000, (300, 3))
    points = rng.uniform(-2200, 2200, (20_000, 3))
    monkeypatch.setattr("clearance.scene.keep.MOST_CELLS", 50_000)
    near = NearBody(body, 1.0, 40.0)
    assert near._level.size < 4 * 50_000
    away = cKDTree(body).query(points)[0]
    level = near.of(points)
    assert (level[away <= 41.0] == DENSE).all()
    assert (level[away <= 41.0 + HALO_MM] >= HALO).all()


@pytest.mark.parametrize("pitch", [7.5, 15.0, 20.0])
def test_frames_of_a_coarse_grid_keep_its_spacing_where_the_scan_is_thinned_about_it(pitch: float) -> None:
    x, y = np.meshgrid(np.arange(-150, 150, pitch), np.arange(-150, 150, pitch))
    points = np.repeat(np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)]), 20, axis=0)
    points += np.random.default_rng(4).normal(0, 0.1, points.shape)
    kept = sifted(points, Keep(body=NearBody(body(), 0.0, 25.0)))
    assert kept.thinned is not None
    scan = conditioned(kept, "auto", 0.0)
    assert scan.thinned is not None
    near = ~scan.thinned & (np.linalg.norm(scan.points[:, :2], axis=1) < 20)
    assert scan.spacing_mm[near].min() > 0.95 * pitch
    assert scan.stray[near].mean() < 0.05  # the outermost of a cluster
