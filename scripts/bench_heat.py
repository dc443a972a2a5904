"""How long a map of temperatures takes: 200 000 scan points beside a part of 200 000 triangles.

The part is a bent tube of 40 mm across in a row of four, the scan a wall and a floor 60 mm off it. Prints what was
timed and how far the sampled view factors are from integrated ones at places drawn at random.
"""

from __future__ import annotations

import os
import time

import numpy as np
import trimesh

from clearance.distance.inside import Surface
from clearance.heat.emitter import Emitter
from clearance.heat.neighbour import Source, looked, neighbour_of, temperatures
from clearance.heat.sight import RAYS, sampling_bound
from clearance.heat.surface_temperature import Surroundings
from clearance.scene.mesh import Mesh
from clearance.scene.zone import Zone

POINTS, TRIANGLES, CHECKED = 200_000, 200_000, 20


def bench_heat(points: int = POINTS, triangles: int = TRIANGLES) -> dict[str, float]:
    """Return seconds on the clock and of the processors, counts, and the worst error of a view factor checked."""
    part, zone = _part(triangles), _zone(points)
    times, started = {}, (time.perf_counter(), time.process_time())

    def lap(name: str) -> None:
        nonlocal started
        now = (time.perf_counter(), time.process_time())
        times[f"{name}, s"], times[f"{name}, s of processor"] = now[0] - started[0], now[1] - started[1]
        started = now

    count = len(part.faces)
    emitter = Emitter(part, np.full(count, 923.15), np.full(count, 0.8))
    source = Source(part=emitter, surface=Surface(part), emissivity=0.8, up=np.array([0.0, 0.0, 1.0]))
    lap("part made ready")
    near = neighbour_of(zone, source.surface, 0.9)
    lap("scan made ready")
    seen = looked(near, source, behind=False)
    lap("view factors")
    found = temperatures(near, source, Surroundings(ambient_K=353.15), behind=False, seen=seen)
    lap("temperatures")
    some = np.random.default_rng(5).choice(np.flatnonzero(seen.factor > 0.02), CHECKED, replace=False)
    exact = emitter.integrated(near.points[some], near.normals[some]).factor
    return {
        **times,
        "total, s": sum(s for name, s in times.items() if name.endswith(", s")),
        "total, s of processor": sum(s for name, s in times.items() if name.endswith("processor")),
        "points": len(near.points),
        "triangles": count,
        "hottest_C": float(found.max()) - 273.15,
        "worst_view_factor_error": float(np.abs(exact - seen.factor[some]).max()),
        "bound": sampling_bound(RAYS),
    }


def _part(triangles: int) -> Mesh:
    """Four runners side by side, each a quarter of a torus, with about that many triangles."""
    across = int(np.sqrt(triangles / 4 / 2))
    runner = trimesh.creation.torus(major_radius=90, minor_radius=20, major_sections=across, minor_sections=across)
    runners = []
    for i in range(4):
        one = runner.copy()
        one.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, [0, 1, 0]))
        one.apply_translation([95.0 * i, 0, 0])
        runners.append(one)
    mesh = trimesh.util.concatenate(runners)
    return Mesh(np.array(mesh.vertices), np.array(mesh.faces, dtype=np.int64))


def _zone(points: int) -> Zone:
    """A scanned wall and floor, 0.2 mm of noise."""
    rng = np.random.default_rng(4)
    wall, floor = (rng.uniform(-1, 1, (points // 2, 3)) * 350 + [140, 0, 0] for _ in range(2))
    wall[:, 1], floor[:, 2] = -170.0, -170.0
    scanned = np.concatenate([wall, floor]) + rng.normal(scale=0.2, size=(2 * (points // 2), 3))
    return Zone(
        name="scan", table="scan", kind="chassis", rides="chassis", gap_mm=25.0, points=scanned,
        stray_points=np.zeros((0, 3)),
    )  # fmt: skip


if __name__ == "__main__":
    print(f"{os.cpu_count()} processors")
    for name, value in bench_heat().items():
        print(f"{name:36} {value:12.4g}")
