"""The brute-force reference itself, against published values and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from brute import distance, over_poses, pierces, point_triangle, segment_segment, signed, triangle_triangle, winding

UNIT = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])


def test_published_segments(segment_pair):
    *ends, wanted = segment_pair
    p0, p1, q0, q1 = np.array(ends, dtype=float)
    # The values are printed to 13 digits or more; crossing lines 2e-6 rad apart lose some of float64's sixteen.
    assert segment_segment(p0, p1, q0, q1) == pytest.approx(wanted, abs=1e-12)
    assert segment_segment(q1, q0, p0, p1) == pytest.approx(wanted, abs=1e-12)


@pytest.mark.parametrize(
    ("point", "wanted"),
    [
        ((0.25, 0.25, 1), 1.0), ((2, 2, 0), np.sqrt(4.5)), ((-1, -1, 1), np.sqrt(3)), ((0.5, -2, 0), 2.0),
        ((3, -0.5, 0), np.hypot(2, 0.5)), ((-2, 5, 0), np.hypot(2, 4)), ((-3, 0.5, 4), 5.0),
    ],
)  # fmt: skip
def test_regions_of_a_triangle(point, wanted):
    """Face, the three edges and the three corners, each by Pythagoras."""
    assert point_triangle(np.array(point, float), UNIT) == pytest.approx(wanted, abs=1e-15)


def test_degenerate_triangles_are_segments_and_points():
    segment = np.array([[0.0, 0, 0], [10, 0, 0], [4, 0, 0]])
    point = np.array([[5.0, 3, 4]] * 3)
    assert triangle_triangle(segment, point) == pytest.approx(5.0)
    assert triangle_triangle(point, point + np.array([0, 0, 2])) == pytest.approx(2.0)
    assert triangle_triangle(segment, segment + np.array([0, 0, 7])) == pytest.approx(7.0)


def test_piercing_is_zero_without_any_touching_corner():
    needle = np.array([[0.2, 0.2, -1], [0.25, 0.2, 1], [0.2, 0.25, 1]])
    assert triangle_triangle(needle, UNIT) == 0.0
    assert pierces(needle[0], needle[1], UNIT)
    assert triangle_triangle(needle + np.array([2, 2, 0]), UNIT) > 2.0


def test_many_pairs_at_once_find_the_same_least():
    rng = np.random.default_rng(1)
    a, b = rng.normal(size=(5, 8, 3, 3)) * 4, rng.normal(size=(5, 6, 3, 3)) * 4 + (14, 0, 0)
    every = triangle_triangle(a[:, :, None], b[:, None]).min()
    assert over_poses(a, b).min() == every
    assert distance(a[0], b[0]) == triangle_triangle(a[0][:, None], b[0][None]).min()


def test_winding_of_a_tetrahedron_and_of_half_of_space():
    corners = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
    soup = corners[[[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]]
    points = np.array([[0.1, 0.1, 0.1], [2.0, 0, 0], [0.5, 0.5, 0.5]])
    assert winding(soup, points) == pytest.approx([1, 0, 0], abs=1e-12)
    # The foot from (.1, .1, .1) on any coordinate plane is nearer than x + y + z = 1.
    assert signed(soup, points) == pytest.approx([-0.1, 1.0, 0.5 / np.sqrt(3)])
    # A corner of a cube sees an eighth of all directions through three far faces: by symmetry a face sees a sixth.
    cube_face = np.array([[[1.0, -1, -1], [1, 1, -1], [1, 1, 1]], [[1, -1, -1], [1, 1, 1], [1, -1, 1]]])
    assert winding(cube_face, np.zeros((1, 3))) == pytest.approx([1 / 6])
