"""View factors against closed forms and published figures, through the program's own integration over triangles.

"Howell" is the Catalog of Radiation Heat Transfer Configuration Factors. The closed forms are worked out here,
independently of the program; two are printed in textbooks as named.
"""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from clearance.heat.view_factor import point_to_triangles, polygon_exchange, triangles_exchange

WITHIN = 0.01
UP = np.array([0.0, 0.0, 1.0])


def _fan(polygon: np.ndarray) -> np.ndarray:
    """Triangles of a convex polygon."""
    return np.array([[polygon[0], polygon[i], polygon[i + 1]] for i in range(1, len(polygon) - 1)])


def _level(x: tuple[float, float], y: tuple[float, float], z: float) -> np.ndarray:
    return np.array([[x[0], y[0], z], [x[1], y[0], z], [x[1], y[1], z], [x[0], y[1], z]])


def _upright(y: tuple[float, float], z: tuple[float, float]) -> np.ndarray:
    """In the plane x = 0."""
    return np.array([[0, y[0], z[0]], [0, y[1], z[0]], [0, y[1], z[1]], [0, y[0], z[1]]], dtype=float)


def _disc(radius: float, z: float, sides: int = 96) -> np.ndarray:
    """Regular polygon of the disc's area."""
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    r = radius * np.sqrt(2 * np.pi / sides / np.sin(2 * np.pi / sides))
    return np.stack([r * np.cos(angle), r * np.sin(angle), np.full(sides, z)], axis=1)


def _area(triangles: np.ndarray) -> float:
    across = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return float(np.linalg.norm(across, axis=1).sum() / 2)


def _factor(first: np.ndarray, second: np.ndarray) -> float:
    a, b = _fan(first), _fan(second)
    return float(triangles_exchange(a, b).sum()) / _area(a)


def _coaxial(r1: float, r2: float, h: float) -> float:
    """Howell C-41: S = 1 + (1 + R2²) / R1²; F = (S - sqrt(S² - 4 (r2/r1)²)) / 2."""
    s = 1 + (1 + (r2 / h) ** 2) / (r1 / h) ** 2
    return (s - np.sqrt(s**2 - 4 * (r2 / r1) ** 2)) / 2


@pytest.mark.parametrize(
    ("r1", "r2", "h", "printed"),
    [
        (0.1, 0.2, 0.5, 0.1339),  # Siegel and Howell, Thermal Radiation Heat Transfer, 4th ed., p. 845
        (1.0, 1.0, 1.0, 0.381966),  # (3 - sqrt 5) / 2
        (1.0, 1.0, 3.0, 0.0916731),  # (11 - sqrt 117) / 2
    ],
)
def test_coaxial_discs(r1, r2, h, printed):
    found = _factor(_disc(r1, 0.0), _disc(r2, h))
    assert found == pytest.approx(printed, rel=WITHIN)
    assert found == pytest.approx(_coaxial(r1, r2, h), rel=1e-3)


@pytest.mark.parametrize(
    ("width", "length", "gap", "wanted"),
    [  # Howell C-11
        (1.0, 1.0, 1.0, 0.199825), (2.0, 2.0, 1.0, 0.415253), (1.0, 2.0, 1.0, 0.285875),
        (10.0, 10.0, 1.0, 0.826995), (0.1, 0.1, 1.0, 0.00316206),
        (1.5, 3.0, 3.0, 0.116654),  # S. K. Som, Introduction to Heat Transfer, example 11.6, exact for its chart
    ],
)  # fmt: skip
def test_aligned_rectangles(width, length, gap, wanted):
    below, above = (_level((0, width), (0, length), z) for z in (0.0, gap))
    assert _factor(below, above) == pytest.approx(wanted, rel=WITHIN)
    assert polygon_exchange(below, above) / (width * length) == pytest.approx(wanted, rel=1e-4)


@pytest.mark.parametrize(
    ("width", "height", "wanted"),
    [(1.0, 1.0, 0.200044), (1.0, 2.0, 0.232853), (2.0, 1.0, 0.116426), (0.5, 0.5, 0.240636)],
)
def test_rectangles_at_right_angles_that_share_an_edge(width, height, wanted):
    """Howell C-14, common edge of length 1: where quadrature over both areas is 6 to 20 % off."""
    floor, wall = _level((0, width), (0, 1), 0.0), _upright((0, 1), (0, height))
    assert _factor(floor, wall) == pytest.approx(wanted, rel=WITHIN)
    assert polygon_exchange(floor, wall) / width == pytest.approx(wanted, rel=1e-4)


@pytest.mark.parametrize(("start", "wanted"), [(0.0, 0.07235), (0.1, 0.07182)])
def test_rectangles_at_right_angles_apart(start, wanted):
    """Chapman, Fundamentals of Heat Transfer, 1987, p. 734: width 0.5, the wall from 0.2 to 0.5."""
    floor, wall = _level((start, start + 0.5), (0, 0.5), 0.0), _upright((0, 0.5), (0.2, 0.5))
    assert _factor(floor, wall) == pytest.approx(wanted, rel=WITHIN)


def test_the_aligned_and_the_meeting_sides_of_a_cube_add_up_to_one():
    floor, roof, wall = _level((0, 1), (0, 1), 0.0), _level((0, 1), (0, 1), 1.0), _upright((0, 1), (0, 1))
    assert _factor(floor, roof) + 4 * _factor(floor, wall) == pytest.approx(1.0, abs=WITHIN)


def test_in_a_closed_box_every_triangle_sees_all_else():
    box = trimesh.creation.box(extents=(1.0, 2.0, 3.0))
    triangles = np.array(box.triangles)
    facing = np.einsum("ij,kj->ik", box.face_normals, box.face_normals) < 0.999
    rows = np.where(facing, triangles_exchange(triangles, triangles), 0.0)
    assert rows.sum(axis=1) / box.area_faces == pytest.approx(1.0, abs=WITHIN)
    assert rows == pytest.approx(rows.T, rel=1e-3, abs=1e-6)  # area times view factor is the same both ways


def test_a_point_in_a_closed_room_sees_its_walls_whole():
    room = trimesh.creation.icosphere(2, 1.0)
    rng = np.random.default_rng(1)
    for _ in range(10):
        way = rng.normal(size=3)
        point = rng.uniform(-0.4, 0.4, 3)
        assert point_to_triangles(point, way / np.linalg.norm(way), np.array(room.triangles)).sum() == pytest.approx(
            1.0
        )


@pytest.mark.parametrize("h", [0.5, 1.0, 3.0])
def test_element_to_coaxial_disc(h):
    """R² / (R² + h²)."""
    assert point_to_triangles(np.zeros(3), UP, _fan(_disc(1.0, h))).sum() == pytest.approx(1 / (1 + h**2), rel=1e-3)


def test_element_to_parallel_rectangle():
    """Howell B-3, at its corner, sides and distance alike; four of them under the middle of one of twice the side."""
    corner = point_to_triangles(np.zeros(3), UP, _fan(_level((0, 1), (0, 1), 1.0))).sum()
    middle = point_to_triangles(np.zeros(3), UP, _fan(_level((-1, 1), (-1, 1), 1.0))).sum()
    assert corner == pytest.approx(0.138532, rel=1e-5)
    assert middle == pytest.approx(0.554126, rel=1e-5)


def _ball(centre: tuple[float, float, float]) -> np.ndarray:
    ball = trimesh.creation.icosphere(4, 1.0)
    ball.apply_scale((4 * np.pi / ball.area) ** 0.5)
    return np.array(ball.triangles) + np.array(centre)


@pytest.mark.parametrize("h_over_r", [0.5, 1.0, 2.0])
def test_sphere_to_coaxial_disc(h_over_r):
    """Half of 1 - 1 / sqrt(1 + (R/h)²), whatever the sphere's radius; Howell C-121.

    By reciprocity, from elements of the disc at the nodes of a Gauss rule in r². Each counts the sphere's front and
    its back through it: half of both. Sphere of radius 1.
    """
    big, h = 4.0 / h_over_r, 4.0
    node, weight = np.polynomial.legendre.leggauss(24)
    radii, ball = big * np.sqrt((node + 1) / 2), _ball((0.0, 0.0, h))
    seen = [point_to_triangles(np.array([r, 0.0, 0.0]), UP, ball).sum() / 2 for r in radii]
    found = np.pi * big**2 * (weight / 2 @ np.array(seen)) / (4 * np.pi)
    assert found == pytest.approx(0.5 * (1 - 1 / np.sqrt(1 + (big / h) ** 2)), rel=WITHIN)


@pytest.mark.parametrize(("normal", "wanted"), [(UP, 0.25), (np.array([1.0, 0.0, 0.0]), 0.0288344)])
def test_element_to_sphere(normal, wanted):
    """Howell B-43 at twice the radius: (R/h)² facing it; edge-on, cut by the element's own plane."""
    assert point_to_triangles(np.zeros(3), normal, _ball((0.0, 0.0, 2.0))).sum() / 2 == pytest.approx(
        wanted, rel=WITHIN
    )


def _tube(start: float, stop: float, sides: int = 256) -> np.ndarray:
    """Triangles of a cylinder of radius 1 about the z axis, of that of its surface."""
    angle = np.linspace(0, 2 * np.pi, sides + 1)
    low = np.stack([np.cos(angle), np.sin(angle), np.full(sides + 1, start)], axis=1)
    high = low + np.array([0, 0, stop - start])
    return np.concatenate(
        [np.stack([low[:-1], low[1:], high[1:]], axis=1), np.stack([low[:-1], high[1:], high[:-1]], axis=1)]
    )


def _front(triangles: np.ndarray, point: np.ndarray) -> np.ndarray:
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    return triangles[np.einsum("ij,ij->i", normal, point - triangles[:, 0]) > 0]


@pytest.mark.parametrize(("length", "distance", "wanted"), [(10.0, 2.0, 0.249842), (5.0, 3.0, 0.161985)])
def test_element_to_a_finite_cylinder(length, distance, wanted):
    """Howell B-31, radius 1: the element's normal passes through one end and is square to the axis."""
    point, towards = np.array([distance, 0.0, 0.0]), np.array([-1.0, 0.0, 0.0])
    assert point_to_triangles(point, towards, _front(_tube(0, length), point)).sum() == pytest.approx(
        wanted, rel=WITHIN
    )


def test_strips_of_endless_length():
    """sqrt 2 - 1 for a gap as wide as the strips (Howell C-1); of 400 widths the ends are worth 0.1 %."""
    below, above = (_level((0, 1), (0, 400), z) for z in (0.0, 1.0))
    assert polygon_exchange(below, above) / 400 == pytest.approx(np.sqrt(2) - 1, rel=WITHIN)


@pytest.mark.parametrize("between", [2.0, 4.0])
def test_equal_parallel_cylinders(between):
    """Crossed strings: (sqrt(X² - 1) + asin(1 / X) - X) / pi with X half the distance of the axes over the radius."""
    x = between / 2
    wanted = (np.sqrt(x**2 - 1) + np.arcsin(1 / x) - x) / np.pi
    other = _tube(-500.0, 500.0, 512) + np.array([between, 0.0, 0.0])
    angles = (np.arange(360) + 0.5) / 360 * np.pi
    seen = []
    for a in angles:
        way = np.array([np.cos(a), np.sin(a), 0.0])
        seen.append(point_to_triangles(way, way, _front(other, way)).sum())
    assert np.mean(seen) == pytest.approx(wanted, rel=WITHIN)


def test_strip_to_cylinder():
    """Strip from -2 to 2 at 2 from the axis of a cylinder of radius 1: by reciprocity r atan(2 / 2) · 2 / 4."""
    tube = _tube(-500.0, 500.0, 256)
    seen = []
    for x in (np.arange(200) + 0.5) / 50 - 2:
        point = np.array([-2.0, x, 0.0])
        seen.append(point_to_triangles(point, np.array([1.0, 0, 0]), _front(tube, point)).sum())
    assert np.mean(seen) == pytest.approx(np.pi / 8, rel=WITHIN)


def test_a_polygon_behind_the_others_plane_is_refused():
    with pytest.raises(ValueError, match="cut it there first"):
        polygon_exchange(_level((-1, 1), (0, 1), 0.0), _upright((0, 1), (0, 1)))
