"""Distances by trying every pair in float64, without the program and without the libraries it uses.

Written from definitions: the distance of two triangles is the least of 6 corner-to-triangle and 9
edge-to-edge distances, and 0 where an edge of one pierces the other. Every candidate is the distance
of two points that do lie on the two bodies, so rounding can make a result too large by a little,
never too small by more than rounding. A point is a triangle with equal corners.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
FLAT = 1e-24
"""sin^2 of the angle under which two edges count as parallel (their ends then decide)."""


def _dot(a: Array, b: Array) -> Array:
    return np.einsum("...i,...i->...", a, b)


def _cross(a: Array, b: Array) -> Array:
    ahead, behind = [1, 2, 0], [2, 0, 1]
    return a[..., ahead] * b[..., behind] - a[..., behind] * b[..., ahead]


def _share(point: Array, start: Array, along: Array) -> Array:
    """Share along a segment, 0 to 1, at which it is nearest to `point`; 0 for a segment of no length."""
    square = _dot(along, along)
    return np.clip(_dot(point - start, along) / np.where(square > 0, square, 1.0), 0.0, 1.0)


def point_segment(point: Array, start: Array, end: Array) -> Array:
    along = end - start
    foot = start + _share(point, start, along)[..., None] * along
    return np.linalg.norm(point - foot, axis=-1)


def segment_segment(p0: Array, p1: Array, q0: Array, q1: Array) -> Array:
    """Least of the four end distances and of the common normal's, where it meets both (Ericson 2005, 5.1.9)."""
    ends = [point_segment(p0, q0, q1), point_segment(p1, q0, q1), point_segment(q0, p0, p1), point_segment(q1, p0, p1)]
    u, v = p1 - p0, q1 - q0
    normal = _cross(u, v)
    square = _dot(normal, normal)
    skew = square > FLAT * _dot(u, u) * _dot(v, v)
    s = np.clip(_dot(_cross(q0 - p0, v), normal) / np.where(skew, square, 1.0), 0.0, 1.0)
    on_p = p0 + s[..., None] * u
    on_q = q0 + _share(on_p, q0, v)[..., None] * v
    on_p = p0 + _share(on_q, p0, u)[..., None] * u
    middle = np.where(skew, np.linalg.norm(on_p - on_q, axis=-1), np.inf)
    return np.minimum.reduce([*ends, middle])


def _weights(point: Array, tri: Array) -> tuple[Array, Array, Array]:
    """Barycentric weights (..., 3) of the foot on the triangle's plane, unit normal, and whether there is a plane."""
    a = tri[..., 0, :]
    u, v, w = tri[..., 1, :] - a, tri[..., 2, :] - a, point - a
    normal = _cross(u, v)
    square = _dot(normal, normal)
    plane = square > FLAT * _dot(u, u) * _dot(v, v)
    square = np.where(plane, square, 1.0)
    second = _dot(_cross(w, v), normal) / square
    third = _dot(_cross(u, w), normal) / square
    return np.stack([1 - second - third, second, third], axis=-1), normal / np.sqrt(square)[..., None], plane


def point_triangle(point: Array, tri: Array) -> Array:
    """Distance of points (..., 3) to triangles (..., 3, 3): the least of face and three edges."""
    weights, normal, plane = _weights(point, tri)
    over_face = plane & (weights >= 0).all(axis=-1)
    face = np.where(over_face, np.abs(_dot(point - tri[..., 0, :], normal)), np.inf)
    edges = [point_segment(point, tri[..., i, :], tri[..., (i + 1) % 3, :]) for i in range(3)]
    return np.minimum.reduce([face, *edges])


def pierces(start: Array, end: Array, tri: Array) -> NDArray[np.bool_]:
    """Tell whether a segment goes through a triangle from one side to the other."""
    _, normal, plane = _weights(start, tri)
    before, after = _dot(start - tri[..., 0, :], normal), _dot(end - tri[..., 0, :], normal)
    across = plane & (before * after < 0)
    share = before / np.where(across, before - after, 1.0)
    weights, _, _ = _weights(start + share[..., None] * (end - start), tri)
    return across & (weights >= 0).all(axis=-1)


def triangle_triangle(s: Array, t: Array) -> Array:
    """Distance of (..., 3, 3) triangle pairs; 0 where they cross."""
    s_end, t_end = np.roll(s, -1, axis=-2), np.roll(t, -1, axis=-2)
    s_whole, t_whole = s[..., None, :, :], t[..., None, :, :]
    corners = np.minimum(point_triangle(s, t_whole), point_triangle(t, s_whole)).min(axis=-1)
    edges = segment_segment(s[..., :, None, :], s_end[..., :, None, :], t_whole, t_end[..., None, :, :])
    crossing = (pierces(s, s_end, t_whole) | pierces(t, t_end, s_whole)).any(axis=-1)
    return np.where(crossing, 0.0, np.minimum(corners, edges.min(axis=(-1, -2))))


def is_points(soup: Array) -> bool:
    """Tell whether every triangle of a soup (m, 3, 3) is a point."""
    return bool((soup[:, :1] == soup).all())


def distance(a: Array, b: Array) -> float:
    """Distance of two soups (m, 3, 3), (k, 3, 3)."""
    return float(over_poses(a[None], b[None]).min())


def over_poses(a: Array, b: Array) -> Array:
    """Distance of a[i] to b[i] for soups over poses, (p, m, 3, 3) and (p, k, 3, 3); exact only at the overall least.

    Pairs whose balls are farther apart than two middles are, or than a distance already found, are not
    worked out; a pose that has no pair worked out gets infinity.
    """
    middle_a, middle_b = a.mean(axis=2), b.mean(axis=2)
    ball_a = np.linalg.norm(a - middle_a[:, :, None], axis=3).max(axis=2)
    ball_b = np.linalg.norm(b - middle_b[:, :, None], axis=3).max(axis=2)
    square = (middle_a**2).sum(-1)[:, :, None] + (middle_b**2).sum(-1)[:, None] - 2 * middle_a @ middle_b.swapaxes(1, 2)
    scale = float(np.abs(a).max() + np.abs(b).max())
    apart = np.sqrt(np.maximum(square, 0.0)) - ball_a[:, :, None] - ball_b[:, None] - 1e-7 * scale
    pair = triangle_triangle
    if is_points(b[0]):
        pair = lambda s, t: point_triangle(t[..., 0, :], s)  # noqa: E731
    enough = (apart + ball_a[:, :, None] + ball_b[:, None]).min() + 2e-7 * scale
    worth = np.flatnonzero(apart.ravel() <= enough)
    order = worth[np.argsort(apart.ravel()[worth], kind="stable")]
    floor = apart.ravel()[order]
    least, done, step = np.full(len(a), np.inf), 0, 128
    while done < len(order) and floor[done] <= least.min():
        pose, i, j = np.unravel_index(order[done : done + step], apart.shape)
        np.minimum.at(least, pose, pair(a[pose, i], b[pose, j]))
        done, step = done + step, min(2 * step, 4096)
    return least


def winding(soup: Array, points: Array) -> Array:
    """Turns (n,) of a soup about points: summed solid angles (Van Oosterom and Strackee 1983) over 4 pi."""
    to = soup[None] - points[:, None, None]
    a, b, c = to[:, :, 0], to[:, :, 1], to[:, :, 2]
    la, lb, lc = (np.linalg.norm(x, axis=2) for x in (a, b, c))
    over = _dot(a, _cross(b, c))
    under = la * lb * lc + _dot(a, b) * lc + _dot(b, c) * la + _dot(c, a) * lb
    return np.arctan2(over, under).sum(axis=1) / (2 * np.pi)


def signed(soup: Array, points: Array) -> Array:
    """Distance (n,) of points to a soup's surface, negative inside (more than half a turn)."""
    far = point_triangle(points[:, None], soup[None]).min(axis=1)
    return np.where(np.abs(winding(soup, points)) > 0.5, -far, far)
