"""View factors of triangles and plane polygons by integration round their outlines: closed form, no sampling.

What is hidden behind something else is not told here: see `sight`. Any length unit, the same throughout.
"""

from __future__ import annotations

import numpy as np

from clearance.frames import Array

GAUSS = 24
"""Points of the Gauss rule along the outer edge; the inner edge is integrated exactly."""

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(GAUSS)
_FLAT = 1e-9
"""Heights, as a share of the size, that count as on a plane."""


def point_to_triangles(point: Array, normal: Array, triangles: Array) -> Array:
    """Return the view factor, (m,), from a small plane element to each of (m, 3, 3) triangles, either side.

    Lambert's formula, the sum of n · (a x b / |a x b|) times the angle between a and b, over 2 pi, round
    the part of each triangle above the element's plane (Howell, Catalog of Radiation Heat Transfer
    Configuration Factors, introduction; Baum, Rushmeier and Winget 1989, doi 10.1145/74334.74367). Exact to
    rounding for triangles that do not touch the element.

    Parameters
    ----------
    point, normal : (3,) float64
        Place of the element, and the unit vector out of its side that sees.
    """
    corner = triangles - point
    size = np.abs(corner).max(initial=1e-300)
    height = corner @ normal
    height = np.where(np.abs(height) < _FLAT * size, 0.0, height)
    total = np.zeros(len(triangles))
    leaves, enters = np.zeros((len(triangles), 3)), np.zeros((len(triangles), 3))
    crossed = np.zeros(len(triangles), dtype=bool)
    for i in range(3):
        a, b, ha, hb = corner[:, i], corner[:, (i + 1) % 3], height[:, i], height[:, (i + 1) % 3]
        out, back = (ha > 0) & (hb <= 0), (ha <= 0) & (hb > 0)
        step = np.where(out | back, ha - hb, 1.0)
        cut = a + (ha / step)[:, None] * (b - a)
        leaves[out], enters[back] = cut[out], cut[back]
        crossed |= out
        start, end = np.where(back[:, None], cut, a), np.where(out[:, None], cut, b)
        seen = (ha > 0) | (hb > 0)
        total[seen] += _edge(start[seen], end[seen], normal)
    total[crossed] += _edge(leaves[crossed], enters[crossed], normal)
    factor: Array = np.abs(total) / (2 * np.pi)
    return factor


def _edge(a: Array, b: Array, normal: Array) -> Array:
    """One edge's term of Lambert's formula, (k,)."""
    cross = np.cross(a, b)
    length = np.linalg.norm(cross, axis=1)
    angle = np.arctan2(length, np.einsum("ij,ij->i", a, b))
    term: Array = cross @ normal / np.maximum(length, 1e-300) * angle
    return term


def polygon_exchange(first: Array, second: Array) -> float:
    """Return area times view factor, the same both ways, of two plane polygons that see each other wholly.

    The double integral of ln r dl · dl' round both outlines, over 2 pi (Sparrow 1963, doi 10.1115/1.3686058;
    Mitalas and Stephenson 1966, National Research Council of Canada DBR-25). The inner integral is in closed
    form, the outer by Gauss' rule, so a shared edge, where the integrand of plain quadrature has no bound,
    costs no accuracy: better than 0.1 % for edges of like length.

    Parameters
    ----------
    first, second : (k, 3), (l, 3) float64
        Corners in order round the outline, either way.

    Raises
    ------
    ValueError
        A polygon reaches behind the other's plane, where the formula does not hold: cut it there first.
    """
    n1, n2 = _normal(first), _normal(second)
    h2, h1 = (second - first[0]) @ n1, (first - second[0]) @ n2
    size = max(float(np.ptp(first, axis=0).max()), float(np.ptp(second, axis=0).max()))
    for heights in (h1, h2):
        if heights.min() < -_FLAT * size and heights.max() > _FLAT * size:
            raise ValueError("a polygon reaches behind the other's plane; cut it there first")
    return float(abs(_outlines(first[None], second[None])[0]))


def triangles_exchange(first: Array, second: Array) -> Array:
    """Return area times view factor, (m, k), of each of (m, 3, 3) triangles to each of (k, 3, 3).

    As `polygon_exchange`, for triangles that see each other wholly or, being of one plane, not at all.
    """
    rows = [np.abs(_outlines(np.broadcast_to(one, second.shape), second)) for one in first]
    return np.array(rows)


def _outlines(first: Array, second: Array) -> Array:
    """Double outline integral, (m,), of m pairs of polygons (m, k, 3), (m, l, 3)."""
    total = np.zeros(len(first))
    start, along = first, np.roll(first, -1, axis=1) - first
    other, across = second, np.roll(second, -1, axis=1) - second
    length = np.linalg.norm(across, axis=2)
    unit = across / np.maximum(length, 1e-300)[..., None]
    share = np.einsum("mki,mli->mkl", along, unit)
    for node, weight in zip(_NODES, _WEIGHTS, strict=True):
        at = start + (node + 1) / 2 * along
        away = at[:, :, None] - other[:, None]
        t = np.einsum("mkli,mli->mkl", away, unit)
        off = np.sqrt(np.maximum(np.einsum("mkli,mkli->mkl", away, away) - t**2, 0.0))
        inner = _log_integral(length[:, None] - t, off) - _log_integral(-t, off)
        total += weight / 2 * (share * inner).sum(axis=(1, 2))
    return total / (2 * np.pi)


def _log_integral(x: Array, d: Array) -> Array:
    """Antiderivative of ln sqrt(x² + d²) over x."""
    squared = x**2 + d**2
    log = np.log(np.maximum(squared, 1e-300)) / 2
    integral: Array = x * log - x + d * np.arctan2(x, d)
    return integral


def _normal(polygon: Array) -> Array:
    """Unit normal of a plane polygon (Newell)."""
    normal: Array = np.cross(polygon, np.roll(polygon, -1, axis=0)).sum(axis=0)
    unit: Array = normal / np.linalg.norm(normal)
    return unit
