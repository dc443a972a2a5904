"""Planted noise on shapes known in closed form: what is left of it, what is cut off a crest, what stays as it was."""

from __future__ import annotations

import numpy as np
import pytest

from clearance.frames import Array
from clearance.scene.local_quadric import LEVERAGE, fit_quadrics
from clearance.scene.supported import FARTHEST, supported

SIGMA = 0.3


def jittered(width: float, length: float, pitch: float, random: np.random.Generator) -> tuple[Array, Array]:
    """Return places across and along a sheet, one in each cell of `pitch`."""
    s, y = np.meshgrid(np.arange(0, width, pitch), np.arange(0, length, pitch), indexing="ij")
    s, y = s + pitch / 2, y + pitch / 2
    wobble = random.uniform(-0.35, 0.35, (2, *s.shape)) * pitch
    return (s + wobble[0]).ravel(), (y + wobble[1]).ravel()


def plane(pitch: float, random: np.random.Generator, side: float = 100.0) -> tuple[Array, Array]:
    x, y = jittered(side, side, pitch, random)
    return np.column_stack([x, y, 0 * x]), np.tile([0.0, 0.0, 1.0], (len(x), 1))


def edge(radius: float, tilt: float, pitch: float, random: np.random.Generator) -> tuple[Array, Array]:
    """Two 20 mm flats tilted by +-`tilt` that meet in an arc; a half rod where the flats are left out (tilt 90 deg)."""
    flat = 20.0 if tilt < np.pi / 2 else 0.0
    s, y = jittered(2 * flat + 2 * tilt * radius, 300.0, pitch, random)
    bend = s - flat - tilt * radius
    angle = np.clip(bend / radius, -tilt, tilt) if radius else tilt * np.sign(bend)
    past = bend - radius * angle
    normal = np.column_stack([np.sin(angle), 0 * s, np.cos(angle)])
    along = np.column_stack([np.cos(angle), 0 * s, -np.sin(angle)])
    points = radius * (normal - [0, 0, 1]) + past[:, None] * along
    points[:, 1] = y
    return points, normal


def outside_edge(points: Array, radius: float, tilt: float) -> Array:
    """Signed distance of points from the surface of `edge`, positive outside."""
    x, z = np.abs(points[:, 0]), points[:, 2] + radius
    on_flat = (x * np.sin(tilt) + z * np.cos(tilt)) - radius
    on_arc = np.hypot(x, z) - radius
    return np.where(np.arctan2(x, z) < tilt, on_arc, on_flat) if radius else on_flat


def inner(points: Array, margin: float) -> np.ndarray:
    """Rows of points that far from both ends of the scan along y."""
    y = points[:, 1]
    return np.flatnonzero((y > margin) & (y < y.max() - margin))


@pytest.mark.parametrize("sigma", [0.1, 0.2, 0.3, 0.5])
@pytest.mark.parametrize("pitch", [0.7, 2.0])
def test_the_minimum_over_a_plane_is_within_a_sigma_or_so(sigma: float, pitch: float) -> None:
    random = np.random.default_rng(3)
    points, normal = plane(pitch, random, side=150 * pitch)
    points = points + random.normal(0, sigma, (len(points), 1)) * normal
    middle = np.flatnonzero((np.abs(points[:, :2] - 75 * pitch) < 70 * pitch).all(axis=1))
    found = supported(points, middle, sigma)
    assert points[middle, 2].max() > 3.0 * sigma  # the extreme of 19,600 normal numbers is about 4 sigma
    # The height at the middle of an evenly filled patch has variance 4/60 sigma^2 (0.26 sigma); some 1,000
    # patches are independent, so the extreme is about 3.2 x 0.26 = 0.85 to 1.2 sigma.
    assert 0.0 < found.points[~found.alone, 2].max() < 1.3 * sigma
    assert found.smoothed.mean() > 0.999


@pytest.mark.parametrize(
    ("radius", "tilt", "pitch", "bound"),
    # Sigma 0.3 mm. A crest may be cut by 0.6 sigma (see local_quadric); 0.5 is asked of rods from 3 mm radius
    # and of tubes' rounded corners. Means of at least 30 points of 0.45 sigma each, neighbours alike: +-0.1.
    [
        (3.0, np.pi / 2, 0.5, 0.5), (3.0, np.pi / 2, 1.0, 0.5), (6.0, np.pi / 2, 1.0, 0.5),
        (2.0, np.pi / 4, 0.5, 0.5), (2.0, np.pi / 4, 1.0, 0.5), (4.0, np.pi / 4, 1.0, 0.5),
        (4.0, np.pi / 4, 2.0, 0.5), (0.75, np.pi / 2, 0.5, 0.75), (0.0, np.pi / 6, 1.0, 0.7),
        (0.0, np.pi / 12, 2.0, 0.75),
    ],
)  # fmt: skip
def test_no_crest_is_cut_by_more_than_stated(radius: float, tilt: float, pitch: float, bound: float) -> None:
    random = np.random.default_rng(4)
    clean, normal = edge(radius, tilt, pitch, random)
    points = clean + random.normal(0, SIGMA, (len(clean), 1)) * normal
    middle = inner(points, 8 * pitch)
    found = supported(points, middle, SIGMA)
    error = outside_edge(found.points, radius, tilt)
    across = np.round(clean[middle, 0] / (pitch / 2))
    near = np.abs(clean[middle, 0]) < (0.8 * radius if tilt == np.pi / 2 else 6.0)
    means = [error[row].mean() for a in np.unique(across) if (row := found.smoothed & near & (across == a)).sum() >= 30]
    assert means or not found.smoothed[near].any() or found.smoothed[near].mean() < 0.5
    assert min(means, default=0.0) > -bound * SIGMA


def test_rods_and_rounded_corners_are_smoothed() -> None:
    random = np.random.default_rng(5)
    for radius, tilt, crest in ((3.0, np.pi / 2, 2.0), (4.0, np.pi / 4, 8.0)):
        clean, normal = edge(radius, tilt, 0.5, random)
        points = clean + random.normal(0, SIGMA, (len(clean), 1)) * normal
        rows = inner(points, 5.0)
        rows = rows[np.abs(clean[rows, 0]) < crest]
        found = supported(points, rows, SIGMA)
        assert found.smoothed.mean() > 0.99
        assert outside_edge(found.points, radius, tilt).std() < 0.4 * SIGMA


def test_thin_wires_and_right_angles_keep_their_raw_points() -> None:
    random = np.random.default_rng(6)
    clean, normal = edge(0.75, np.pi / 2, 0.5, random)
    wire = clean + random.normal(0, 0.05, (len(clean), 1)) * normal
    found = supported(wire, np.arange(len(wire)), 0.05)
    assert found.smoothed.mean() < 0.5
    assert np.array_equal(found.points[~found.smoothed], wire[~found.smoothed])
    clean, normal = edge(0.0, np.pi / 4, 1.0, random)
    corner = clean + random.normal(0, 0.1, (len(clean), 1)) * normal
    crest = inner(corner, 8.0)
    crest = crest[np.abs(clean[crest, 0]) < 0.4]
    assert supported(corner, crest, 0.1).smoothed.mean() < 0.5


def test_points_near_a_plane_that_nothing_stands_by_are_alone() -> None:
    random = np.random.default_rng(7)
    points, normal = plane(1.0, random)
    points = points + random.normal(0, SIGMA, (len(points), 1)) * normal
    flying = np.array([[30.2, 40.1, 2.0], [60.0, 55.0, 4.0], [45.3, 70.4, -3.0]])
    rows = np.arange(len(points), len(points) + 3)
    found = supported(np.vstack([points, flying]), rows, SIGMA)
    assert found.alone.all()
    assert np.array_equal(found.points, flying)


def test_the_edge_of_the_scan_is_not_extrapolated() -> None:
    random = np.random.default_rng(8)
    points, normal = plane(1.0, random)
    points = points + random.normal(0, SIGMA, (len(points), 1)) * normal
    rim = np.flatnonzero(points[:, 0] < 1.0)
    found = supported(points, rim, SIGMA)
    # What the fit allows is a variance of 0.36 sigma^2: errors of more than 4 x 0.6 sigma are not noise.
    assert np.abs(found.points[found.smoothed, 2]).max(initial=0.0) < 2.4 * SIGMA


def test_a_patch_on_one_side_of_its_point_does_not_determine_a_surface() -> None:
    x, y = np.meshgrid(np.arange(-8, 9.0), np.arange(-8, 9.0))
    disc = np.column_stack([x.ravel(), y.ravel(), np.zeros(x.size)])
    disc = disc[np.argsort(np.linalg.norm(disc, axis=1), kind="stable")]
    both, one = disc[:37], disc[disc[:, 0] >= 2][:37]
    # The least-squares height at the origin has (X^T X)^-1 [0, 0] sigma^2 variance.
    terms = np.column_stack([np.ones(37), one[:, :2], one[:, 0] ** 2, one[:, 0] * one[:, 1], one[:, 1] ** 2])
    assert np.linalg.inv(terms.T @ terms)[0, 0] > LEVERAGE
    found = fit_quadrics(np.stack([both, one]), SIGMA)
    assert found.determined.tolist() == [True, False]


def test_moves_are_limited_and_told() -> None:
    random = np.random.default_rng(9)
    points, normal = plane(1.0, random)
    points = points + random.normal(0, SIGMA, (len(points), 1)) * normal
    rows = random.permutation(len(points))[:2000]
    found = supported(points, rows, SIGMA)
    assert np.linalg.norm(found.points - points[rows], axis=1) == pytest.approx(found.moved_mm, abs=1e-12)
    assert found.moved_mm.max() <= FARTHEST * SIGMA


@pytest.mark.parametrize("count", [0, 1, 5, 29])
def test_no_noise_and_few_points_change_nothing(count: int) -> None:
    points = np.random.default_rng(10).normal(size=(count, 3))
    for sigma in (0.0, 0.3):
        found = supported(points, np.arange(count), sigma)
        assert np.array_equal(found.points, points)
        assert not found.smoothed.any()
        assert not found.alone.any()


def test_line_scans_whose_rows_lie_apart_stay_finite() -> None:
    x, y = np.meshgrid(np.arange(0, 100, 0.1), np.arange(0, 60, 10.0))
    points = np.column_stack([x.ravel(), y.ravel(), np.random.default_rng(11).normal(0, SIGMA, x.size)])
    found = supported(points, np.arange(len(points)), SIGMA)
    assert np.isfinite(found.points).all()
    assert not found.smoothed.any()
