"""The manifold: cast-look pipes blended into each other, with machined flanges, as a closed mesh.

Part frame, mm: origin in the middle of the head flange's sealing face, X along the crank (runner 1 at
positive X), Y up along the face, Z out of the face, away from the head.
"""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from manifold3d import CrossSection, Manifold, Mesh, OpType
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

Array = NDArray[np.float64]

PORTS_X = (132.0, 44.0, -44.0, -132.0)
RUNNER_BORE, RUNNER_OUTER = 17.0, 21.5
LOG_BORE, LOG_OUTER = 23.0, 28.0
LOG_Y, LOG_Z = -38.0, 88.0
FLANGE_THICK = 11.0
TURBINE = np.array([-4.0, 30.0, 100.0])
"""Middle of the turbine flange's face, which looks along +Y."""
TURBINE_THICK, TURBINE_HALF, TURBINE_HOLE = 13.0, (51.0, 40.0), (38.0, 28.0)
STUD_HOLE, TURBINE_STUD_HOLE = 8.6, 10.6
STUDS = {
    "upper stud 1": (156.0, 31.0),
    "upper stud 4": (-156.0, 31.0),
    "lower stud 1": (156.0, -31.0),
    "lower stud 4": (-156.0, -31.0),
}
"""Holes at the corners of the head flange (X, Y): the landmarks."""
INNER_STUDS = ((88.0, 27.0), (88.0, -27.0), (0.0, 27.0), (0.0, -27.0), (-88.0, 27.0), (-88.0, -27.0))
BLEND = 11.0
"""Size of the fillets between cast pipes."""
GRID = 3.6
SIMPLIFY = 0.08
"""Farthest the surface moves when flat neighbourhoods are thinned out."""
DIP_AT, DIP_WIDTH = 44.0, 46.0


@dataclass(frozen=True)
class Revision:
    """How the log runs: `dip` is how far it sags below its straight line at runner 2, mm."""

    name: str
    dip: float


REVISIONS = (Revision("rev_a", 17.0), Revision("rev_b", 0.0))


def manifold_of(revision: Revision) -> tuple[Array, NDArray[np.int64]]:
    """Return vertices (n, 3) and faces (m, 3) of the closed part, part frame, mm, as single precision holds them."""
    bores = _cast(_pipes(revision, hollow=True))
    solid = _cast(_pipes(revision, hollow=False)).trim_by_plane((0, 0, 1), 0.0)
    solid = solid.trim_by_plane((0, -1, 0), -float(TURBINE[1]))
    solid = Manifold.batch_boolean([solid, _head_flange(), _turbine_flange(), _sensor_boss(revision)], OpType.Add)
    part = Manifold.batch_boolean([solid, bores, *_holes(revision)], OpType.Subtract)
    mesh = part.set_tolerance(0.01).simplify(SIMPLIFY).to_mesh()
    vertices = np.asarray(mesh.vert_properties, np.float32)[:, :3].astype(np.float64)
    return vertices, np.asarray(mesh.tri_verts, np.int64)


@dataclass(frozen=True)
class _Pipe:
    """Round pipe: middle line (k, 3) and its radius (k,)."""

    line: Array
    radius: Array


def _log_y(revision: Revision, x: Array) -> Array:
    """Height of the log's middle line."""
    return LOG_Y - revision.dip * np.exp(-(((x - DIP_AT) / DIP_WIDTH) ** 2))


def _pipes(revision: Revision, hollow: bool) -> list[_Pipe]:
    """Log, runners and the neck to the turbine; bores run on through the flange faces."""
    runner, log = (RUNNER_BORE, LOG_BORE) if hollow else (RUNNER_OUTER, LOG_OUTER)
    x = np.linspace(138.0, -138.0, 25)
    found = [_Pipe(np.column_stack([x, _log_y(revision, x), np.full_like(x, LOG_Z)]), np.full(len(x), log))]
    for port in PORTS_X:
        end = np.array([port * 0.97, float(_log_y(revision, np.array(port * 0.97))), LOG_Z])
        knots = np.array([[port, 0, -12.0], [port, 0, 14.0], [port * 0.985, end[1] * 0.38, 50.0], end])
        found.append(_swept(knots, np.full(4, runner)))
    start = np.array([TURBINE[0], float(_log_y(revision, TURBINE[:1])[0]), LOG_Z])
    top = TURBINE + np.array([0.0, 14.0 if hollow else -8.0, 0.0])
    middle = (start + top) / 2 + np.array([0.0, 0.0, 3.0])
    found.append(_swept(np.array([start, middle, top]), np.array([log, log + 1.0, log + 2.0])))
    return found


def _swept(knots: Array, radius: Array) -> _Pipe:
    """Run a smooth line through (k, 3) knots."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(knots, axis=0), axis=1))])
    at = np.linspace(0.0, along[-1], 15)
    return _Pipe(CubicSpline(along, knots)(at), np.interp(at, along, radius))


def _cast(pipes: list[_Pipe]) -> Manifold:
    """Blend pipes into one body: smooth minimum of their distances, contoured on a grid."""
    low = np.min([(p.line - p.radius[:, None]).min(axis=0) for p in pipes], axis=0) - 2 * GRID - BLEND
    high = np.max([(p.line + p.radius[:, None]).max(axis=0) for p in pipes], axis=0) + 2 * GRID + BLEND
    x, y, z = (np.arange(a, b + GRID, GRID) for a, b in zip(low, high, strict=True))
    grid = np.stack(np.meshgrid(x, y, z, indexing="ij"), axis=-1).transpose(2, 1, 0, 3).reshape(-1, 3)
    each = [_outside(grid, p) for p in pipes]
    value = each[0]
    for other in each[1:]:
        overlap = np.maximum(BLEND - np.abs(value - other), 0.0) / BLEND
        value = np.minimum(value, other) - overlap**2 * BLEND / 4
    vertices, faces, _ = igl.marching_cubes(value, np.ascontiguousarray(grid), len(x), len(y), len(z), 0.0)
    return Manifold(Mesh(vertices.astype(np.float32), faces.astype(np.uint32)))


def _outside(points: Array, pipe: _Pipe) -> Array:
    """Signed distance, about, of (n, 3) points to a pipe with round ends."""
    least = np.full(len(points), np.inf)
    for a, b, ra, rb in zip(pipe.line[:-1], pipe.line[1:], pipe.radius[:-1], pipe.radius[1:], strict=True):
        away, along = points - a, b - a
        share = np.clip(away @ along / (along @ along), 0.0, 1.0)
        np.minimum(least, np.linalg.norm(away - share[:, None] * along, axis=1) - (ra + share * (rb - ra)), out=least)
    return least


def _disc(x: float, y: float, radius: float) -> CrossSection:
    return CrossSection.circle(radius, 48).translate((x, y))


def _head_flange() -> Manifold:
    """Plate with a lobe per port and an ear per stud, joined by webs."""
    lobes = [_disc(x, 0.0, 30.0) for x in PORTS_X]
    ears = [_disc(x, y, 11.0) for x, y in (*STUDS.values(), *INNER_STUDS)]
    web = CrossSection.square((2 * PORTS_X[0], 38.0), True)
    ends = [CrossSection.batch_hull([_disc(x, 31.0, 11.0), _disc(x, -31.0, 11.0)]) for x in (156.0, -156.0)]
    bridge = CrossSection.square((2 * 156.0, 30.0), True)
    plan = CrossSection.batch_boolean([*lobes, *ears, web, *ends, bridge], OpType.Add)
    return Manifold.extrude(plan.offset(6.0, circular_segments=48).offset(-6.0, circular_segments=48), FLANGE_THICK)


def _turbine_flange() -> Manifold:
    """Four-stud plate whose face looks along +Y."""
    x, z = (half - 13.0 for half in TURBINE_HALF)
    corners = [_disc(sx * x, sz * z, 13.0) for sx in (-1, 1) for sz in (-1, 1)]
    return _upward(Manifold.extrude(CrossSection.batch_hull(corners), TURBINE_THICK), TURBINE[1] - TURBINE_THICK)


def _upward(upright: Manifold, at_y: float) -> Manifold:
    """Turn a body made along Z to run along +Y from height `at_y` over the turbine flange's middle."""
    return upright.rotate((-90.0, 0.0, 0.0)).translate((float(TURBINE[0]), at_y, float(TURBINE[2])))


def _boss_frame(revision: Revision, body: Manifold) -> Manifold:
    """Put a body made along Z onto the log's side between runners 3 and 4, looking out and a little down."""
    at = np.array([-84.0, float(_log_y(revision, np.array(-84.0))), LOG_Z])
    return body.rotate((18.0, 0.0, 0.0)).translate(tuple(at.tolist()))


def _sensor_boss(revision: Revision) -> Manifold:
    return _boss_frame(revision, Manifold.cylinder(LOG_OUTER + 9.0, 14.0, 13.0, 48))


def _holes(revision: Revision) -> list[Manifold]:
    """Stud holes, the turbine's studs and the sensor's hole."""
    head = [
        Manifold.cylinder(FLANGE_THICK + 40.0, STUD_HOLE / 2, STUD_HOLE / 2, 32).translate((x, y, -4.0))
        for x, y in (*STUDS.values(), *INNER_STUDS)
    ]
    bolt = Manifold.cylinder(TURBINE_THICK + 8.0, TURBINE_STUD_HOLE / 2, TURBINE_STUD_HOLE / 2, 32)
    bolts = [
        _upward(bolt.translate((sx, sz, 0.0)), TURBINE[1] - TURBINE_THICK - 4.0)
        for sx in (-TURBINE_HOLE[0], TURBINE_HOLE[0])
        for sz in (-TURBINE_HOLE[1], TURBINE_HOLE[1])
    ]
    sensor = Manifold.cylinder(LOG_OUTER + 30.0, 8.0, 8.0, 40)
    return [*head, *bolts, _boss_frame(revision, sensor)]
