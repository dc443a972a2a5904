"""Meshes of the benchmark: a part of four runners into a collector, and a bay of walls, rails, pipes and a block."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
Shape = tuple[Array, npt.NDArray[np.int64]]
"""Vertices (n, 3), mm, and triangles (m, 3)."""


def tube(path: Array, radius: float, around: int) -> Shape:
    """Return a closed round tube along a (k, 3) path."""
    along = np.gradient(path, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    side = np.cross(along, [0.31, 0.17, 0.93])
    side /= np.linalg.norm(side, axis=1, keepdims=True)
    other = np.cross(along, side)
    turn = 2 * np.pi * np.arange(around) / around
    ring = path[:, None] + radius * (np.cos(turn)[:, None] * side[:, None] + np.sin(turn)[:, None] * other[:, None])
    here = np.arange(len(path) * around).reshape(len(path), around)
    beside = np.roll(here, -1, axis=1)
    walls = [
        np.stack([here[:-1], beside[:-1], beside[1:]], axis=-1).reshape(-1, 3),
        np.stack([here[:-1], beside[1:], here[1:]], axis=-1).reshape(-1, 3),
    ]
    first, last = len(path) * around, len(path) * around + 1
    caps = [
        np.stack([np.full(around, first), beside[0], here[0]], axis=1),
        np.stack([np.full(around, last), here[-1], beside[-1]], axis=1),
    ]
    return np.vstack([ring.reshape(-1, 3), path[:1], path[-1:]]), np.concatenate([*walls, *caps]).astype(np.int64)


def sheet(corner: Array, u: Array, v: Array, step_mm: float) -> Shape:
    """Return a flat sheet spanned by u and v, in squares of about `step_mm`."""
    n, m = (max(1, int(np.linalg.norm(way) / step_mm)) for way in (u, v))
    a, b = np.meshgrid(np.linspace(0, 1, n + 1), np.linspace(0, 1, m + 1), indexing="ij")
    points = corner + a.reshape(-1, 1) * u + b.reshape(-1, 1) * v
    here = np.arange((n + 1) * (m + 1)).reshape(n + 1, m + 1)
    p, q, r, s = here[:-1, :-1], here[1:, :-1], here[1:, 1:], here[:-1, 1:]
    return points, np.concatenate([np.stack([p, q, r], -1).reshape(-1, 3), np.stack([p, r, s], -1).reshape(-1, 3)])


def joined(shapes: list[Shape]) -> Shape:
    """Return several meshes as one."""
    starts = np.cumsum([0, *(len(vertices) for vertices, _ in shapes)])
    faces = [faces + start for (_, faces), start in zip(shapes, starts[:-1], strict=True)]
    return np.vstack([vertices for vertices, _ in shapes]), np.concatenate(faces)


def part(triangles: int = 200_000) -> Shape:
    """Return the part, about 400 x 210 x 200 mm, of about so many triangles."""
    around = max(12, int(np.sqrt(triangles / 5 / 8)))
    steps = triangles // 5 // around // 2
    share = np.linspace(0, 1, steps)[:, None]
    pieces = []
    for x in (-165.0, -55.0, 55.0, 165.0):
        start, end = np.array([x, 100.0, 60.0]), np.array([0.3 * x, -40.0, -70.0])
        bend = np.array([x, -60.0, 70.0])
        path = (1 - share) ** 2 * start + 2 * share * (1 - share) * bend + share**2 * end
        pieces.append(tube(path, 20.0, around))
    pieces.append(tube(np.array([-75.0, -45, -80]) + share * np.array([150.0, 0, 0]), 27.0, around))
    return joined(pieces)


def zones_of_bay(step_mm: float) -> dict[str, Shape]:
    """Return the bay by zone, its frame that of the part, squares of about `step_mm`."""
    wave = np.linspace(0, 1, max(8, int(900 / step_mm)))[:, None]
    around = max(8, int(75 / step_mm))
    line = np.array([-450.0, -112, 60]) + wave * [900.0, 0, 0] + 6 * np.sin(9 * wave) * [0, 1.0, 1.0]
    shaft = np.array([60.0, 20, -150]) + wave * [420.0, -40, -20]
    hose = np.array([-420.0, 60, 150]) + wave * [800.0, 30, -30]
    x, y, z = np.eye(3)
    rail = np.array([-600.0, -110, -190])
    return {
        "bulkhead": joined(
            [
                sheet(np.array([-800.0, -150, -450]), 1600 * x, 900 * z, step_mm),
                sheet(np.array([-800.0, -150, -450]), 900 * y, 900 * z, step_mm),
                sheet(np.array([800.0, -150, -450]), 900 * y, 900 * z, step_mm),
                sheet(np.array([-800.0, -150, -450]), 1600 * x, 900 * y, step_mm),
            ]
        ),
        "frame rail": joined(
            [
                sheet(rail, 1200 * x, 60 * y, step_mm),
                sheet(rail + 60 * z, 1200 * x, 60 * y, step_mm),
                sheet(rail, 1200 * x, 60 * z, step_mm),
                sheet(rail + 60 * y, 1200 * x, 60 * z, step_mm),
            ]
        ),
        "brake line": tube(line, 3.0, 2 * around // 3 + 3),
        "axle shaft": tube(shaft, 14.0, around),
        "hose": tube(hose, 18.0, around),
        "block": sheet(np.array([-300.0, 130, -250]), 600 * x, 500 * z, step_mm),
    }


def bay(triangles: int) -> Shape:
    """Return the bay as one mesh of about so many triangles."""
    coarse = sum(len(faces) for _, faces in zones_of_bay(20.0).values())
    return joined(list(zones_of_bay(20.0 * float(np.sqrt(coarse / triangles))).values()))
