"""The scan: rays from a few stations into the true bay, with what a scanner adds and leaves out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from embreex.mesh_construction import TriangleMesh
from embreex.rtcore_scene import EmbreeScene
from numpy.typing import NDArray

from demo_scene.bay import HOLE_Y, Solid
from demo_scene.part import Array

SIGMA_SQUARE_ON, SIGMA_GRAZING = 0.15, 0.25
"""1 sigma of the range, mm, white, looking straight at a surface and at the flattest angle kept."""
LEAST_COSINE = 0.17
"""Surfaces seen flatter than this (80 degrees) give no return."""
DROP = 0.03
STRAYS = 0.0002
"""Share of rays that return a flying point; thinning, which spares lone points, makes it ten times as much."""
STRAY_OFF = 12.0
"""Flying points lie at least this far before the surface their ray meets, mm."""
RANGE_OFFSET = 0.05
"""1 sigma, mm, of each station's own shift after the stations were merged."""
OVERLAP = 1.5
"""The second visit reaches this far over the rim of the hole, mm."""
NEAR, CELL_NEAR, CELL_FAR = 75.0, 1.05, 4.0
"""Within `NEAR` mm of the work area one point is kept per cube of `CELL_NEAR` mm, farther off of `CELL_FAR` mm."""


@dataclass(frozen=True)
class Station:
    """Where the scanner stood, what it looked at, and half its field's width, mm, with the grid's pitch there."""

    eye: tuple[float, float, float]
    at: tuple[float, float, float]
    half: float
    pitch: float


STATIONS = (
    Station((420.0, -60.0, 640.0), (-150.0, 10.0, 220.0), 520.0, 0.85),
    Station((160.0, 420.0, 720.0), (-150.0, 20.0, 220.0), 520.0, 0.85),
    Station((120.0, -460.0, 600.0), (-150.0, 20.0, 220.0), 520.0, 0.85),
    Station((330.0, 210.0, 260.0), (-140.0, 30.0, 200.0), 460.0, 0.85),
)
SECOND_VISIT = Station((260.0, -30.0, 520.0), (-128.0, -30.0, 190.0), 170.0, 0.8)


@dataclass(frozen=True)
class Shots:
    """What one station's rays met: points (n, 3) with errors, solid met (n,) or "flying", the station's own shift."""

    points: Array
    met: NDArray[np.str_]
    shift: tuple[float, float, float]

    def part(self, kept: NDArray[np.int64]) -> Shots:
        """Return some of them."""
        return Shots(self.points[kept], self.met[kept], self.shift)


def first_visit(solids: list[Solid], work_area: Array, rng: np.random.Generator) -> list[Shots]:
    """Return the points of each station, thinned together, without the hole.

    `work_area` is (2, 3), low and high corner around the part.
    """
    shots = []
    for station in STATIONS:
        found = _shoot(station, solids, rng)
        y = found.points[:, 1]
        shots.append(found.part(np.flatnonzero((found.met != "frame rail") | (y < HOLE_Y[0]) | (y > HOLE_Y[1]))))
    kept = _thinned(np.concatenate([s.points for s in shots]), work_area, rng)
    ends = np.cumsum([0, *(len(s.points) for s in shots)])
    return [
        s.part(kept[(kept >= low) & (kept < high)] - low)
        for s, low, high in zip(shots, ends[:-1], ends[1:], strict=True)
    ]


def second_visit(solids: list[Solid], work_area: Array, rng: np.random.Generator) -> Shots:
    """Return the points of the rail's missing stretch, from a station of its own."""
    shots = _shoot(SECOND_VISIT, solids, rng)
    y = shots.points[:, 1]
    wanted = np.flatnonzero((shots.met == "frame rail") & (y > HOLE_Y[0] - OVERLAP) & (y < HOLE_Y[1] + OVERLAP))
    return shots.part(wanted[_thinned(shots.points[wanted], work_area, rng)])


def _shoot(station: Station, solids: list[Solid], rng: np.random.Generator) -> Shots:
    """Cast one station's grid of rays."""
    eye, ways = np.array(station.eye), _ways(station, rng)
    corners = np.concatenate([s.vertices[s.faces] for s in solids])
    owner = np.repeat([s.name for s in solids], [len(s.faces) for s in solids])
    scene: Any = EmbreeScene()
    held = TriangleMesh(scene, np.ascontiguousarray(corners, np.float32))
    origins = np.broadcast_to(eye.astype(np.float32), ways.shape)
    seen = scene.run(np.ascontiguousarray(origins), ways.astype(np.float32), query="INTERSECT", output=True)
    del held
    face = np.asarray(seen["primID"], np.int64)
    hit = np.flatnonzero(face >= 0)
    face, ways = face[hit], ways[hit]
    normal = np.cross(corners[face, 1] - corners[face, 0], corners[face, 2] - corners[face, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    plane = np.einsum("ij,ij->i", normal, corners[face, 0] - eye)
    cosine = np.einsum("ij,ij->i", normal, ways)
    returns = (-cosine > LEAST_COSINE) & (rng.random(len(hit)) > DROP)
    range_ = plane[returns] / cosine[returns]
    sigma = SIGMA_SQUARE_ON + (SIGMA_GRAZING - SIGMA_SQUARE_ON) * (1 + cosine[returns])
    range_ = range_ + sigma * rng.standard_normal(len(range_))
    met = owner[face[returns]]
    flying = rng.random(len(range_)) < STRAYS
    range_[flying] = 150.0 + (range_[flying] - STRAY_OFF - 150.0) * rng.random(int(flying.sum()))
    met[flying] = "flying"
    offset = RANGE_OFFSET * rng.standard_normal(3)
    x, y, z = offset.tolist()
    return Shots(eye + range_[:, None] * ways[returns] + offset, met, (x, y, z))


def _ways(station: Station, rng: np.random.Generator) -> Array:
    """Unit vectors (n, 3) of a jittered square grid of rays."""
    middle = np.array(station.at) - station.eye
    reach = float(np.linalg.norm(middle))
    middle /= reach
    right = np.cross(middle, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    up = np.cross(right, middle)
    steps = np.arange(-station.half, station.half, station.pitch)
    u, v = (g.ravel() + 0.3 * station.pitch * rng.uniform(-1, 1, g.size) for g in np.meshgrid(steps, steps))
    ways: Array = middle + (u[:, None] * right + v[:, None] * up) / reach
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    return ways


def _thinned(points: Array, work_area: Array, rng: np.random.Generator) -> NDArray[np.int64]:
    """Choose the point nearest to the middle of each cube, in random order; cubes are small about the work area."""
    low, high = work_area
    away = np.linalg.norm(np.maximum(np.maximum(low - points, points - high), 0.0), axis=1)
    kept = []
    for near, cell in ((away <= NEAR, CELL_NEAR), (away > NEAR, CELL_FAR)):
        chosen = np.flatnonzero(near)
        cube = np.floor(points[chosen] / cell).astype(np.int64)
        off = np.linalg.norm(points[chosen] / cell - cube - 0.5, axis=1)
        order = np.lexsort((off, *cube.T))
        first = np.ones(len(order), bool)
        first[1:] = (np.diff(cube[order], axis=0) != 0).any(axis=1)
        kept.append(chosen[order[first]])
    return rng.permutation(np.concatenate(kept))
