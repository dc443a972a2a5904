"""Parts to look for: a 4-into-1 manifold, and a log manifold that half a turn brings onto itself, or nearly.

Part frame, mm: the head flange's sealing face is z = 0, the ports lie along X, pipes run towards +Z.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from manifold3d import CrossSection, Manifold, OpType
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from clearance.scene.mesh import Mesh

Array = NDArray[np.float64]

PORTS_X = (150.0, 52.0, -50.0, -152.0)
OUTER, BORE = 21.0, 18.5
COLLECTOR = np.array([62.0, -118.0, 190.0])
"""Where the four pipes of the 4-into-1 meet; its outlet runs on along `OUTLET`."""
OUTLET = np.array([0.25, -0.35, 0.9])
SEGMENTS = 32


def four_into_one() -> Mesh:
    """Return the 4-into-1 manifold, hollow, about 400 x 260 x 300 mm: nothing turns it onto itself."""
    way = OUTLET / np.linalg.norm(OUTLET)
    lines, bores = [], []
    for number, port in enumerate(PORTS_X):
        beside = 24.0 * np.array([np.cos(1.57 * number + 0.6), np.sin(1.57 * number + 0.6), 0.0])
        bow = np.array([18.0 * (number - 1.2), 46.0 - 21.0 * number, 78.0 + 9.0 * number])
        knots = np.array([[port, 0, 0], [port, 0, 22], [port * 0.82, bow[1], bow[2]], COLLECTOR + beside - 52 * way])
        end = COLLECTOR + 0.35 * beside
        lines.append((_smooth(np.vstack([knots, end])), OUTER))
        bores.append((_smooth(np.vstack([knots[:1] - (0, 0, 9), knots, end])), BORE))
    outlet = np.vstack([COLLECTOR - 20 * way, COLLECTOR + 40 * way, COLLECTOR + 82 * way])
    solid = [_pipes([*lines, (outlet, 33.0)]), _flange(PORTS_X), _disc(COLLECTOR + 74 * way, way, 52.0, 11.0)]
    boss = _disc(np.array([-104.0, 22.0, 66.0]), np.array([-0.4, 0.85, 0.3]), 12.0, 30.0)
    body = Manifold.batch_boolean([*solid, boss], OpType.Add)
    hollow = _pipes([*bores, (np.vstack([outlet, outlet[-1] + 40 * way]), 30.0)])
    return _mesh(
        (body - hollow).trim_by_plane((0, 0, 1), 0.0).trim_by_plane(tuple(-way), -float((COLLECTOR + 80 * way) @ way))
    )


def log_manifold(boss: float | None = None) -> Mesh:
    """Return a log manifold that a half turn about Z brings onto itself, but for a boss so many mm across if asked."""
    ports = (150.0, 50.0, -50.0, -150.0)
    lines = [(np.array([[x, 0, 0], [x, 0, 90.0]]), OUTER) for x in ports]
    lines += [(np.array([[-165.0, 0, 90], [165.0, 0, 90]]), 27.0), (np.array([[0, 0, 90], [0, 0, 150.0]]), 27.0)]
    solid = [_pipes(lines), _flange(ports), _disc(np.array([0.0, 0, 144]), np.array([0.0, 0, 1]), 46.0, 12.0)]
    if boss is not None:
        solid.append(_disc(np.array([100.0, 30.0, 96.0]), np.array([0.0, 1.0, 0.2]), boss / 2, 26.0))
    body = Manifold.batch_boolean(solid, OpType.Add)
    bores = [(line + (np.array([[0, 0, -30.0], [0, 0, 0]])), BORE) for line, _ in lines[:4]]
    bores += [(lines[4][0], 24.0), (np.array([[0, 0, 90], [0, 0, 190.0]]), 24.0)]
    return _mesh((body - _pipes(bores)).trim_by_plane((0, 0, 1), 0.0).trim_by_plane((0, 0, -1), -150.0))


def _smooth(knots: Array) -> Array:
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(knots, axis=0), axis=1))])
    found: Array = CubicSpline(along, knots)(np.linspace(0.0, along[-1], 13))
    return found


def _pipes(lines: list[tuple[Array, float]]) -> Manifold:
    """Join capsules along each line."""
    found = []
    for line, radius in lines:
        balls = [Manifold.sphere(radius, SEGMENTS).translate(tuple(point.tolist())) for point in line]
        found += [Manifold.batch_hull([a, b]) for a, b in pairwise(balls)]
    return Manifold.batch_boolean(found, OpType.Add)


def _flange(ports: tuple[float, ...]) -> Manifold:
    lobes = [CrossSection.circle(34.0, 48).translate((x, 0.0)) for x in ports]
    ears = [CrossSection.circle(12.0, 32).translate((x, y)) for x in ports for y in (-36.0, 36.0)]
    bar = CrossSection.square((ports[0] - ports[-1], 44.0), True).translate(((ports[0] + ports[-1]) / 2, 0.0))
    holes = [CrossSection.circle(4.5, 24).translate((x, y)) for x in ports for y in (-36.0, 36.0)]
    plan = CrossSection.batch_boolean([*lobes, *ears, bar], OpType.Add)
    return Manifold.extrude(CrossSection.batch_boolean([plan, *holes], OpType.Subtract), 12.0)


def _disc(middle: Array, way: Array, radius: float, height: float) -> Manifold:
    """Round plate of `height` about `middle`, its axis along `way`."""
    z = way / np.linalg.norm(way)
    x = np.cross(z, [0.0, 1.0, 0.0] if abs(z[1]) < 0.9 else [1.0, 0.0, 0.0])
    x /= np.linalg.norm(x)
    frame = np.column_stack([x, np.cross(z, x), z, middle])
    return Manifold.cylinder(height, radius, radius, 48, center=True).transform(frame)


def _mesh(body: Manifold) -> Mesh:
    found = body.simplify(0.05).to_mesh()
    return Mesh(np.asarray(found.vert_properties, np.float64)[:, :3], np.asarray(found.tri_verts, np.int64))
