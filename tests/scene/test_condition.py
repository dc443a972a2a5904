"""Planted noise, strays, wires, rows and repeats are told for what they are."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.scene.condition import REPEAT_MM, condition
from clearance.scene.mesh_io import equal_rows
from clearance.scene.neighbours import Neighbours
from clearance.scene.noise import measure_noise
from clearance.scene.spacing import along_or_across, local_spacing

PITCH = 1.0


def grid(nx: int, ny: int, step_x: float = PITCH, step_y: float = PITCH) -> Array:
    x, y = np.meshgrid(np.arange(nx) * step_x, np.arange(ny) * step_y, indexing="ij")
    return np.column_stack([x.ravel(), y.ravel(), np.zeros(nx * ny)])


def half_cylinder(radius: float, length: float, count: int, random: np.random.Generator) -> tuple[Array, Array]:
    """Return random points on half a cylinder and their normals."""
    turn = random.random(count) * np.pi
    normal = np.column_stack([np.cos(turn), np.sin(turn), np.zeros(count)])
    points = radius * normal
    points[:, 2] = random.random(count) * length
    return points, normal


def bay(count: int, random: np.random.Generator) -> Array:
    """Return floor, wall, sparse side wall and two tubes in a box of 600 x 400 x 400 mm, noise 0.2 mm."""

    def sheet(share: float, u: tuple[int, int, int], v: tuple[int, int, int], at: tuple[int, int, int]) -> Array:
        n = int(share * count)
        return np.array(at) + random.random((n, 1)) * np.array(u) + random.random((n, 1)) * np.array(v)

    big, _ = half_cylinder(30, 450, int(0.2 * count), random)
    small, _ = half_cylinder(15, 300, int(0.18 * count), random)
    parts = [
        sheet(0.36, (600, 0, 0), (0, 400, 0), (0, 0, 0)),
        sheet(0.25, (600, 0, 0), (0, 0, 400), (0, 0, 0)),
        sheet(0.01, (0, 400, 0), (0, 0, 400), (600, 0, 0)),
        big[:, [2, 0, 1]] + np.array([50, 200, 200]),
        small + np.array([400, 300, 50]),
    ]
    points = np.vstack(parts)
    return points + random.normal(0, 0.2, points.shape)


# ---- noise --------------------------------------------------------------------------------------


@pytest.mark.parametrize("pitch", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("sigma", [0.02, 0.1, 0.4])
def test_planted_noise_on_a_plane(pitch: float, sigma: float) -> None:
    random = np.random.default_rng(1)
    points = random.random((20_000, 3)) * (pitch * np.sqrt(20_000), pitch * np.sqrt(20_000), 0)
    assert measure_noise(points + random.normal(0, sigma, points.shape)) == pytest.approx(sigma, rel=0.1)


@pytest.mark.parametrize("radius", [8, 15, 40])
@pytest.mark.parametrize("sigma", [0.05, 0.3])
def test_curvature_is_not_noise(radius: float, sigma: float) -> None:
    random = np.random.default_rng(2)
    points, normal = half_cylinder(radius, 20_000 / (np.pi * radius), 20_000, random)
    assert measure_noise(points + normal * random.normal(0, sigma, (20_000, 1))) == pytest.approx(sigma, rel=0.1)


def test_edges_and_strays_do_not_raise_the_noise() -> None:
    random = np.random.default_rng(3)
    points = bay(60_000, random)
    flying = random.random((300, 3)) * (600, 400, 400)
    scan = condition(np.vstack([points, flying]), "auto", 0.1)
    assert scan.noise_measured
    assert scan.noise_mm == pytest.approx(0.2, rel=0.1)


def test_given_noise_and_accuracy_are_passed_on() -> None:
    scan = condition(grid(30, 30), 0.0, 0.05)
    assert (scan.noise_mm, scan.noise_measured, scan.accuracy_mm) == (0.0, False, 0.05)


# ---- spacing ------------------------------------------------------------------------------------


def test_spacing_of_a_square_grid_is_its_diagonal() -> None:
    scan = condition(grid(50, 50), 0.0, 0.0)
    inner = ((scan.points[:, :2] > 3) & (scan.points[:, :2] < 46)).all(axis=1)
    np.testing.assert_allclose(scan.spacing_mm[inner], np.sqrt(2) * PITCH, rtol=1e-6)
    assert scan.spacing_mm.dtype == np.float32
    assert not scan.stray.any()


def test_spacing_of_random_points_follows_their_density() -> None:
    random = np.random.default_rng(4)
    points = random.random((40_000, 3)) * (200, 200, 0)  # one a mm2
    median = np.median(condition(points, 0.0, 0.0).spacing_mm)
    # the sixth neighbour: pi r^2 is gamma distributed with shape 6, median 5.670 (chi2 of 12 degrees: 11.340 / 2)
    assert median == pytest.approx(np.sqrt(5.670 / np.pi), rel=0.02)


@pytest.mark.parametrize(("along", "across"), [(1.0, 1.0), (0.5, 2.0), (0.3, 3.0), (0.2, 4.0)])
def test_every_place_of_the_surface_is_within_the_spacing_of_its_nearest_point(along: float, across: float) -> None:
    random = np.random.default_rng(5)
    points = grid(int(100 / along), int(100 / across), along, across)
    points += random.normal(0, 0.05, points.shape)
    scan = condition(points, 0.05, 0.0)
    places = np.array([5, 5, 0]) + random.random((20_000, 3)) * (90, 90, 0)
    distance, nearest = cKDTree(points).query(places)
    assert (distance <= scan.spacing_mm[nearest]).all()
    # and it is no more than 2.5 times what is needed
    assert np.median(scan.spacing_mm) < 2.5 * np.quantile(distance, 0.999)


def test_a_single_row_of_points_has_a_sane_spacing_and_is_no_stray() -> None:
    row = np.column_stack([np.arange(0, 200, 1.0), np.full(200, 60.0), np.full(200, 80.0)])
    scan = condition(np.vstack([grid(100, 100), row]), 0.0, 0.0)
    inner = slice(10_003, -3)
    np.testing.assert_allclose(scan.spacing_mm[inner], 3.0, rtol=1e-6)
    assert not scan.stray.any()


def test_repeated_points_count_once() -> None:
    once = condition(grid(40, 40), 0.0, 0.0)
    points = np.vstack([grid(40, 40)] * 8)
    scan = condition(points, 0.0, 0.0)
    np.testing.assert_array_equal(scan.points, points)
    np.testing.assert_array_equal(scan.spacing_mm, np.tile(once.spacing_mm, 8))


def test_keep_returns_some_but_looks_at_all() -> None:
    points = grid(60, 60)
    keep = points[:, 0] < 30
    whole, half = condition(points, 0.0, 0.0), condition(points, 0.0, 0.0, keep=keep)
    np.testing.assert_array_equal(half.points, points[keep])
    np.testing.assert_array_equal(half.spacing_mm, whole.spacing_mm[keep])
    alone = condition(points[keep], 0.0, 0.0)
    assert (alone.spacing_mm > half.spacing_mm).any()  # the crop's edge would have looked like an edge


# ---- strays -------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_flying_points_are_flagged_and_surfaces_are_not(seed: int) -> None:
    random = np.random.default_rng(seed)
    surface = bay(100_000, random)
    flying = random.random((500, 3)) * (600, 400, 400)
    scan = condition(np.vstack([surface, flying]), "auto", 0.1)
    away, nearest = cKDTree(surface).query(flying)
    clear = away > 2.5 * scan.spacing_mm[: len(surface)][nearest]
    assert clear.sum() > 350
    assert scan.stray[len(surface) :][clear].mean() >= 0.99
    assert scan.stray[: len(surface)].mean() < 5e-4  # nearly all where the sparse wall meets the dense floor


def test_thin_wire_is_no_stray() -> None:
    random = np.random.default_rng(6)
    turn, along = np.meshgrid(np.arange(0, np.pi, 0.5 / 0.75), np.arange(0, 150, 0.5))
    wire = np.column_stack([along.ravel(), 0.75 * np.cos(turn.ravel()) + 50, 0.75 * np.sin(turn.ravel()) + 40])
    wire += random.normal(0, 0.05, wire.shape)
    scan = condition(np.vstack([grid(300, 200, 0.5, 0.5), wire]), "auto", 0.1)
    assert not scan.stray[-len(wire) :].any()
    assert scan.spacing_mm[-len(wire) :].max() < 2.0  # four pitches, at the ends


def test_lone_points_and_small_clumps() -> None:
    clump = np.array([[30.0, 30, 25], [30.3, 30, 25], [30, 30.3, 25]])
    bolt = np.array([70.0, 70, 20]) + grid(4, 4, 0.5, 0.5)
    scan = condition(np.vstack([grid(100, 100), [[50.0, 50, 30]], clump, bolt]), 0.0, 0.0)
    assert scan.stray[10_000:10_004].all()  # one point, three points
    assert not scan.stray[10_004:].any()  # sixteen together are something
    assert not scan.stray[:10_000].any()


@pytest.mark.parametrize("count", [0, 1, 5, 16])
def test_too_few_points_support_nothing(count: int) -> None:
    scan = condition(np.random.default_rng(8).random((count, 3)) * 100, "auto", 0.0)
    assert scan.points.shape == (count, 3)
    assert scan.stray.all()
    assert np.isinf(scan.spacing_mm).all()


def test_a_point_seen_again_and_again_hides_no_spacing():
    """A 30 mm grid of which every point was seen eight times, 0.003 mm apart."""
    x, y = np.meshgrid(np.arange(0, 600, 30.0), np.arange(0, 600, 30.0))
    grid = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    rng = np.random.default_rng(0)
    seen = np.repeat(grid, 8, axis=0) + rng.normal(0, 0.003, (8 * len(grid), 3))
    spacing = condition(seen, 0.0, 0.0).spacing_mm
    # No place of the grid's square is nearer than 30 / sqrt(2) mm to a point at its middle.
    assert np.quantile(spacing, 0.02) >= 30 / np.sqrt(2)


@pytest.mark.parametrize("pitch", [7.5, 20.0, 60.0])
@pytest.mark.parametrize("jitter", [0.05, 0.2, 0.5])
@pytest.mark.parametrize("frames", [7, 20, 60])
def test_frames_of_a_coarse_grid_have_the_spacing_of_the_grid(frames: int, jitter: float, pitch: float) -> None:
    points = np.repeat(grid(12, 12, pitch, pitch), frames, axis=0)
    points += np.random.default_rng(1).normal(0, jitter, points.shape)
    scan = condition(points, "auto", 0.0)
    inner = ((points[:, :2] > 1.5 * pitch) & (points[:, :2] < 9.5 * pitch)).all(axis=1)
    # the diagonal of the grid's square; no less than its side where a cluster has fewer points than hide it
    assert np.median(scan.spacing_mm[inner]) == pytest.approx(np.sqrt(2) * pitch, rel=0.03)
    assert scan.spacing_mm[inner].min() > 0.95 * pitch
    assert scan.noise_mm == pytest.approx(jitter, rel=0.1)
    assert scan.stray.mean() < 0.03


def test_frames_of_coarse_rows_have_the_spacing_of_the_rows() -> None:
    points = np.repeat(grid(12, 40, 9.0, 2.0), 20, axis=0)
    points += np.random.default_rng(2).normal(0, 0.1, points.shape)
    scan = condition(points, 0.1, 0.0)
    inner = ((points[:, :2] > (13, 10)) & (points[:, :2] < (86, 68))).all(axis=1)
    assert scan.spacing_mm[inner].min() > 9.0 / 2


@pytest.mark.parametrize("pitch", [0.2, 1.0, 3.0, 5.0])
@pytest.mark.parametrize("noise", [0.0, 0.05, 0.5])
@pytest.mark.parametrize("kind", ["grid", "random", "lines"])
def test_frames_are_not_seen_in_a_scan_of_one_frame(kind: str, noise: float, pitch: float) -> None:
    random = np.random.default_rng(3)
    points = grid(150, 100, 4 * pitch if kind == "lines" else pitch, pitch)
    if kind == "random":
        points = random.random((15_000, 3)) * (150 * pitch, 100 * pitch, 0)
    points += random.normal(0, noise, points.shape) if noise else 0.0
    points = points[equal_rows(np.round(points / REPEAT_MM))[0]]
    tree = Neighbours(points)
    distance, index = tree.nearest(points, 17)
    np.testing.assert_array_equal(
        local_spacing(points, distance, index, tree), along_or_across(points, distance, index)
    )


def test_a_bolt_above_a_surface_keeps_its_spacing() -> None:
    bolt = np.array([30.0, 30.0, 20.0]) + grid(4, 4, 0.5, 0.5)
    scan = condition(np.vstack([grid(60, 60), bolt]), 0.0, 0.0)
    assert scan.spacing_mm[-16:].max() < 2.0
