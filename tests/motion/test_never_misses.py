"""Contact while moving: never a miss, against exact rational arithmetic; sampling does miss.

After the method of Wang et al. 2021 (ACM TOG 40(5) 188, doi 10.1145/3460775): queries with whole-number
coordinates whose answer is decided exactly.
"""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from brute import point_triangle

from clearance.motion.branch import TOUCH_MM
from clearance.motion.pair import PairMotion
from clearance.motion.rock import rock_from
from clearance.motion.sweep import sweep
from clearance.scene.mesh import Mesh


def orient(a, b, c, d) -> int:
    """Six times the volume of a tetrahedron in whole numbers: exact."""
    u, v, w = ([int(p) - int(q) for p, q in zip(x, a, strict=True)] for x in (b, c, d))
    return sum(u[i] * (v[(i + 1) % 3] * w[(i + 2) % 3] - v[(i + 2) % 3] * w[(i + 1) % 3]) for i in range(3))


def goes_through(p, q, tri) -> bool | None:
    """Whether a segment meets a triangle, exactly; None where they are in one plane."""
    before, after = orient(*tri, p), orient(*tri, q)
    if before == 0 and after == 0:
        return None
    if before * after > 0:
        return False
    sides = [orient(p, q, tri[i], tri[(i + 1) % 3]) for i in range(3)]
    return all(s >= 0 for s in sides) or all(s <= 0 for s in sides)


def exact_gap_square(p, q, tri) -> Fraction:
    """Squared distance of a segment's start to the triangle's plane, to be sure that hits are not all at the start."""
    normal = [Fraction(int(x)) for x in np.cross(tri[1] - tri[0], tri[2] - tri[0])]
    along = sum(n * int(x) for n, x in zip(normal, p - tri[0], strict=True))
    return along * along / sum(n * n for n in normal)


def sliding(step, turned: str) -> PairMotion:
    length = float(np.linalg.norm(step))
    rock = rock_from(
        point=np.zeros(3), direction=[0, 0, 1], up=step, forward=[1, 0, 0],
        roll_deg=(0, 0), lift_mm=(0.0, length), shift_mm=(0, 0),
    )  # fmt: skip
    return PairMotion(rock=rock, turned=turned)


@pytest.mark.parametrize("batch", range(4))
def test_point_sliding_through_a_triangle(batch):
    rng = np.random.default_rng(batch)
    hits = sampled_misses = false_alarms = 0
    for _ in range(150):
        tri = rng.integers(-20, 21, (3, 3))
        p, q = rng.integers(-20, 21, (2, 3))
        truth = goes_through(p, q, tri)
        if truth is None or (p == q).all():
            continue
        part = Mesh(tri.astype(float), np.array([[0, 1, 2]]))
        found = sweep(part, False, p[None].astype(float), False, sliding(q - p, "zone"), 0.02)
        assert not truth or found.clearance.lower <= 0, f"missed: {tri.tolist()} {p} {q}"
        assert not truth or found.clearance.upper <= TOUCH_MM
        false_alarms += not truth and found.clearance.upper <= 0
        if truth and exact_gap_square(p, q, tri) > 0:
            hits += 1
            at = p + np.linspace(0, 1, 401)[:, None] * (q - p)
            sampled_misses += point_triangle(at, np.broadcast_to(tri, (401, 3, 3)).astype(float)).min() > 1e-9
    assert hits >= 8
    assert sampled_misses > hits // 2  # 401 even samples miss most of what is there to be found.
    assert false_alarms == 0  # Whole numbers up to 20 apart are never within a nanometre without meeting.


@pytest.mark.parametrize("batch", range(4))
def test_edge_sliding_through_an_edge(batch):
    """Edge against edge: one sweeps a parallelogram, two triangles, and the other meets it or not."""
    rng = np.random.default_rng(100 + batch)
    hits = 0
    for _ in range(150):
        a, b, c, d, step = rng.integers(-20, 21, (5, 3))
        answers = [goes_through(c, d, t) for t in (np.array([a, b, a + step]), np.array([b, a + step, b + step]))]
        if None in answers or not step.any():
            continue
        part = Mesh(np.array([a, b, b], float), np.array([[0, 1, 2]]))
        zone = Mesh(np.array([c, d, d], float), np.array([[0, 1, 2]]))
        found = sweep(part, False, zone, False, sliding(step, "part"), 0.02).clearance
        assert any(answers) == (found.upper <= TOUCH_MM), f"{a} {b} {c} {d} {step}"
        hits += any(answers)
    assert hits >= 8


@pytest.mark.parametrize("batch", range(3))
def test_point_rolling_through_a_triangle(batch):
    """On its arc a point meets the triangle's plane where A cos t + B sin t = C: closed form; inside by weights."""
    rng = np.random.default_rng(200 + batch)
    hits = sampled_misses = 0
    for _ in range(100):
        point, roll = rng.normal(size=3) * 20, np.sort(rng.uniform(-1.2, 1.2, 2))
        tri = rng.normal(size=(3, 3)) * 20 + rolled(point, rng.uniform(*roll, 1))
        normal = np.cross(tri[1] - tri[0], tri[2] - tri[0])
        # Axis z through the origin: n . (x cos t - y sin t, x sin t + y cos t, z) = n . tri[0].
        a = normal[0] * point[0] + normal[1] * point[1]
        b = normal[1] * point[0] - normal[0] * point[1]
        c = normal @ tri[0] - normal[2] * point[2]
        truth = False
        if np.hypot(a, b) >= abs(c):
            for angle in np.arctan2(b, a) + np.arccos(c / np.hypot(a, b)) * np.array([1, -1]):
                angle = (angle + np.pi) % (2 * np.pi) - np.pi
                at = rolled(point, np.array([angle]))[0]
                weights = np.linalg.lstsq(np.vstack([tri.T, np.ones(3)]), [*at, 1.0], rcond=None)[0]
                truth |= bool(roll[0] <= angle <= roll[1] and (weights >= 1e-9).all())
        rock = rock_from(
            point=np.zeros(3), direction=[0, 0, 1], up=[0, 0, 1], forward=[1, 0, 0],
            roll_deg=tuple(np.degrees(roll)), lift_mm=(0, 0), shift_mm=(0, 0),
        )  # fmt: skip
        part = Mesh(tri, np.array([[0, 1, 2]]))
        found = sweep(part, False, point[None], False, PairMotion(rock=rock, turned="zone"), 0.02).clearance
        sampled = rolled(point, np.linspace(*roll, 401))
        least = point_triangle(sampled, np.broadcast_to(tri, (401, 3, 3))).min()
        assert not truth or found.upper <= TOUCH_MM
        assert found.lower <= least
        hits += truth
        sampled_misses += truth and least > 1e-6
    assert hits > 5
    assert sampled_misses > hits // 2


def rolled(point, angles):
    cos, sin = np.cos(angles), np.sin(angles)
    x, y, z = point
    return np.column_stack([x * cos - y * sin, x * sin + y * cos, np.full(len(angles), z)])
