"""Bodies that slide: what is swept holds every translation, and nothing else."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from brute import distance, over_poses

from clearance.distance.body import Slide, mesh_body, point_body
from clearance.scene.mesh import Mesh


def swept(body) -> np.ndarray:
    return body.vertices[body.faces]


def slides(rng) -> list[Slide]:
    a, b = rng.normal(size=(2, 3)) * 4
    none = np.zeros((0, 3))
    pairs = [none, a[None], np.array([a, b]), np.array([a, 2 * a]), np.array([a, -0.5 * a]), np.array([a, a * 1e-7])]
    c = rng.normal(size=3) * 3
    triples = [np.array([a, b, c]), np.array([a, b, a - b])]
    return [Slide(rng.normal(size=3), edges) for edges in pairs + triples]


def translations(slide: Slide, rng) -> np.ndarray:
    shares = rng.random((400, len(slide.edges)))
    shares[:100] = shares[:100].round()
    return slide.base + shares @ slide.edges


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("kind", ["points", "mesh"])
def test_swept_distance_is_no_more_than_at_any_translation(seed, kind):
    rng = np.random.default_rng(seed)
    corners = rng.normal(size=(3, 3, 3)) * 3
    target = rng.normal(size=(4, 3, 3)) * 3 + rng.normal(size=3) * 12
    if kind == "points":
        corners = np.repeat(corners[:, :1], 3, axis=1)
    for slide in slides(rng):
        mesh = Mesh(corners.reshape(-1, 3), np.arange(9).reshape(-1, 3))
        body = point_body(corners[:, 0], slide) if kind == "points" else mesh_body(mesh, slide)
        moves = translations(slide, rng)
        sampled = corners + moves[:, None, None]
        least = over_poses(sampled, np.broadcast_to(target, (len(moves), *target.shape))).min()
        found = distance(swept(body), target)
        assert found <= least + 1e-9
        if len(slide.edges) == 0:
            assert found == pytest.approx(least, abs=1e-9)


@pytest.mark.parametrize("seed", range(30))
def test_every_swept_triangle_lies_in_the_sum_and_knows_its_owner(seed):
    """Corners of the body are corners of its owner moved by a translation; the sum is convex, so it holds the rest."""
    rng = np.random.default_rng(seed)
    mesh = Mesh(rng.normal(size=(6, 3)), np.array([[0, 1, 2], [2, 1, 3], [3, 4, 5], [0, 2, 3]]))
    for slide in slides(rng):
        body = mesh_body(mesh, slide)
        picks = np.array(list(product((0.0, 1.0), repeat=len(slide.edges))))
        corner_moves = slide.base + picks @ slide.edges
        allowed = mesh.triangles[body.owner][:, :, None] + corner_moves
        gap = np.linalg.norm(swept(body)[:, :, None, None] - allowed[:, None], axis=-1).min(axis=(2, 3))
        assert gap.max() < 1e-12
        points = point_body(mesh.vertices, slide)
        allowed = mesh.vertices[points.owner][:, None] + corner_moves
        assert np.linalg.norm(swept(points)[:, :, None] - allowed[:, None], axis=-1).min(axis=2).max() < 1e-12


def test_square_swept_by_lift_and_shift_is_a_brick():
    """Unit square at z = 0 under lift 3 and shift 2 along x fills [0, 3] x [0, 1] x [0, 3]: distances by Pythagoras."""
    square = Mesh(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]]), np.array([[0, 1, 2], [0, 2, 3]]))
    brick = swept(mesh_body(square, Slide(np.zeros(3), np.array([[0.0, 0, 3], [2, 0, 0]]))))
    for point, wanted in {(1.5, 0.5, 5): 2.0, (6, 5, 3): 5.0, (4, 2, 4): 3**0.5, (-1, 0.5, 1.5): 1.0}.items():
        assert distance(brick, np.array([[point] * 3], float)) == pytest.approx(wanted, abs=1e-12)


def test_point_swept_three_ways_is_a_brick():
    """Edges 2, 3, 4 along the axes turn a point into the surface of a brick: 12 triangles, distances by Pythagoras."""
    body = point_body(np.zeros((1, 3)), Slide(np.zeros(3), np.diag([2.0, 3, 4])))
    assert len(body.faces) == 12
    for point, wanted in {(1, 1, 9): 5.0, (5, 7, 4): 5.0, (3, 4, 5): 3**0.5, (1, 1.5, 2): 1.0}.items():
        assert distance(swept(body), np.array([[point] * 3], float)) == pytest.approx(wanted, abs=1e-12)


def test_slide_numbers():
    slide = Slide(np.array([1.0, 0, 0]), np.array([[0.0, 0, 6], [8, 0, 0]]))
    assert slide.middle == pytest.approx([5, 0, 3])
    assert slide.reach_mm == pytest.approx(5.0)
    assert slide.longest_mm == pytest.approx(5 + np.hypot(5, 3))
    assert slide.reversed().middle == pytest.approx([-5, 0, -3])
