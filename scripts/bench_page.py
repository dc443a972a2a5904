"""Measure the pages on a large part: size of report.html, time until its 3D view is ready, seconds a picture takes.

    python scripts/bench_page.py [--triangles 200000] [--points 300000]

A lumpy ball of that many triangles hangs in a room of that many scan points; the check itself is not timed.
Prints one line a number. Needs chromium for the time to ready (software WebGL, so a slow machine's figure).
"""

from __future__ import annotations

import argparse
import os
import platform
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import trimesh

from clearance.bounds import Bound
from clearance.frames import Array, rigid
from clearance.job.schema import Job
from clearance.motion.result import ClearanceField, MotionState, Sweep
from clearance.outputs.pictures import write_pictures
from clearance.outputs.report_page import report_page
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.zone import Zone
from clearance.verdict.result import Budget, CheckResult, Verdict, ZoneResult

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "helpers"))
from browser import CHROMIUM, SOFTWARE_GL, Browser

RADIUS_MM, ROOM_MM, GAP_MM = 150.0, 520.0, 20.0
HERE = rigid("bay", "part", np.eye(3), (0, 0, 0))
STILL = rigid("bay", "bay", np.eye(3), (0, 0, 0))


def lumpy_ball(triangles: int) -> Mesh:
    """A ball of rings and sectors with lumps that no packing can foresee."""
    rings = max(8, int(np.sqrt(triangles / 8)))
    ball = trimesh.creation.uv_sphere(radius=1.0, count=[rings, 2 * rings])
    vertices = np.asarray(ball.vertices, np.float64)
    lumps = 1 + 0.06 * np.sin(9 * vertices[:, 0]) * np.cos(7 * vertices[:, 1]) + 0.03 * np.sin(31 * vertices[:, 2])
    rough = np.random.default_rng(1).normal(0, 0.02, vertices.shape)
    return Mesh(vertices * lumps[:, None] * RADIUS_MM + rough, np.asarray(ball.faces, np.int64))


def room(points: int) -> Array:
    """Points on the six walls of a cube, with scan noise, in no order."""
    rng = np.random.default_rng(2)
    flat = rng.uniform(-ROOM_MM / 2, ROOM_MM / 2, (points, 3))
    side = rng.integers(0, 3, points)
    flat[np.arange(points), side] = rng.choice([-1, 1], points) * ROOM_MM / 2 + rng.normal(0, 0.15, points)
    return flat


def zone_of(name: str, points: Array, part: Mesh) -> ZoneResult:
    """A zone whose numbers are only there to be drawn."""
    nearest = int(np.argmin(np.linalg.norm(points, axis=1)))
    on_part = part.vertices[int(np.argmin(np.linalg.norm(part.vertices - points[nearest], axis=1)))]
    away = np.linalg.norm(part.vertices - points[nearest], axis=1)
    mm = float(away.min())
    sweep = Sweep(
        clearance=Bound(mm - 0.01, mm), worst=MotionState(), on_part=on_part, on_zone=points[nearest],
        direction=(on_part - points[nearest]) / mm, cells=np.array([[mm - 0.01]]), evaluations=1, angles=(),
    )  # fmt: skip
    budget = Budget(
        registration=0.3, noise=0.15, accuracy=0.1, fit=0, spacing=1, tolerance=0.3, growth=0, standard=0.4, guard=1.6
    )
    cap = 2.2 * GAP_MM + 60
    zone = Zone(
        name=name, table=name, kind="chassis", rides="chassis", gap_mm=GAP_MM, points=points,
        spacing_mm=np.full(len(points), 2, np.float32), stray_points=np.zeros((0, 3)),
    )  # fmt: skip
    return ZoneResult(
        zone=zone, sweep=sweep, nearest_raw_point_mm=mm, budget=budget, hot=False, factor=1.0, sweeps=(),
        verdict=Verdict.PASS, reason="made up", at_rest_mm=sweep.clearance, worst_part_pose=HERE,
        worst_zone_pose=STILL,
        part_field=ClearanceField(values_mm=np.minimum(away, cap), cap_mm=cap, may_be_lower_mm=0.5),
        zone_field=ClearanceField(
            values_mm=np.minimum(np.linalg.norm(points, axis=1) - RADIUS_MM, cap), cap_mm=cap, may_be_lower_mm=0.5
        ),
    )  # fmt: skip


def scene(triangles: int, points: int) -> CheckResult:
    """Everything a page is made of, without a check."""
    mesh, cloud = lumpy_ball(triangles), room(points)
    halves = {"left of the room": cloud[cloud[:, 1] > 0], "right of the room": cloud[cloud[:, 1] <= 0]}
    zones = tuple(zone_of(name, half, mesh) for name, half in halves.items())
    job = Job.model_validate({
        "title": "large part", "part": {"file": "part.stl", "unit": "mm", "tolerance": 0.3},
        "bay": {"files": ["bay.ply"], "unit": "mm", "accuracy": 0.1},
        "register": {"method": "given", "shift": [0.0, 0.0, 0.0]},
        "zone": [{"name": n, "kind": "chassis", "where": {"rest": True}, "gap": GAP_MM} for n in halves],
        "rock": {"axis": {"point": [0.0, 0.0, 0.0], "direction": [0.0, 1.0, 0.0]}, "roll": [-3.0, 4.0]},
    })  # fmt: skip
    return CheckResult(
        job=job, part=Part(name="part.stl", mesh=mesh, shown=mesh, closed=True, rides="engine", tolerance_mm=0.3),
        scan=None, registration=Registration(
            method="given", T_bay_part=HERE, converged=True, covariance=np.eye(6) * 1e-4, centre=np.zeros(3)
        ),
        zones=zones, verdict=Verdict.PASS, reason="made up", fixes=(), inputs=(),
    )  # fmt: skip


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description="Measure the page on a large part.")
    parser.add_argument("--triangles", type=int, default=200_000)
    parser.add_argument("--points", type=int, default=300_000)
    options = parser.parse_args()
    result = scene(options.triangles, options.points)
    print(f"machine: {platform.machine()}, {os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    print(f"part: {len(result.part.shown.faces)} triangles; scan: {options.points} points")
    with tempfile.TemporaryDirectory() as folder:
        start, busy = time.perf_counter(), time.process_time()
        pictures = write_pictures(result, Path(folder) / "pictures")
        count = len(pictures)
        print(
            f"picture: {(time.perf_counter() - start) / count:.2f} s each "
            f"({(time.process_time() - busy) / count:.2f} s of processor), {count} pictures"
        )
        start, busy = time.perf_counter(), time.process_time()
        page = Path(folder) / "report.html"
        page.write_text(report_page(result, pictures, ""), encoding="utf-8")
        print(f"page written: {time.perf_counter() - start:.2f} s ({time.process_time() - busy:.2f} s of processor)")
        print(f"page: {page.stat().st_size / 1e6:.2f} MB")
        if CHROMIUM is not None:
            with Browser(Path(folder) / "profile", *SOFTWARE_GL) as browser:
                opened = browser.page(page)
                opened.until("document.getElementById('view').dataset.ready", 60)
                print(f"ready: {int(opened.ask('document.getElementById(`view`).dataset.ready')) / 1000:.2f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main())
