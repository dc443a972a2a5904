"""The page of a large part: its size, the time until its 3D view is ready, and the seconds a picture takes.

A lumpy ball of so many triangles hangs in a room of so many scan points; the check itself is not timed.
Needs chromium for the time to ready.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator
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

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "tests" / "helpers"))
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


def page_rows(triangles: int = 200_000, points: int = 300_000) -> Iterator[tuple[str, str, str, str, str]]:
    """Write pictures and page of the scene, open the page, and yield a row of the benchmark for each."""
    result = scene(triangles, points)
    about = f"{len(result.part.shown.faces)} triangles, {points} points"
    with tempfile.TemporaryDirectory() as folder:
        start, busy = time.perf_counter(), time.process_time()
        pictures = write_pictures(result, Path(folder) / "pictures")
        wall, cpu = ((now - then) / len(pictures) for now, then in _since(start, busy))
        yield f"picture, each of {len(pictures)}, {about}", f"{wall:.2f}", f"{cpu:.2f}", "", ""
        start, busy = time.perf_counter(), time.process_time()
        page = Path(folder) / "report.html"
        page.write_text(report_page(result, pictures, ""), encoding="utf-8")
        wall, cpu = (now - then for now, then in _since(start, busy))
        yield f"page written, {about}", f"{wall:.2f}", f"{cpu:.2f}", "", f"{page.stat().st_size / 1e6:.2f} MB"
        if CHROMIUM is not None:
            with Browser(Path(folder) / "profile", *SOFTWARE_GL) as browser:
                opened = browser.page(page)
                opened.until("document.getElementById('view').dataset.ready", 60)
                ready = int(opened.ask("document.getElementById(`view`).dataset.ready")) / 1000
            yield f"page ready, {about}", f"{ready:.2f}", "", "", "software WebGL: a slow machine's figure"


def _since(wall: float, cpu: float) -> tuple[tuple[float, float], tuple[float, float]]:
    return (time.perf_counter(), wall), (time.process_time(), cpu)
