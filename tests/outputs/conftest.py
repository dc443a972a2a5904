"""A small check by hand in closed form: a sphere that is lifted between a scanned ceiling and a solid floor.

The sphere (radius 30 mm) stands at (100, 50, 20) in the bay; the engine lifts it by -2 to 5 mm. The
ceiling is a sheet of points at z = 60, the floor a box whose top is at z = -20. So the clearance is
10 mm to both at rest, 5 mm to the ceiling at the highest place and 8 mm to the floor at the lowest.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import trimesh

from clearance.bounds import Bound
from clearance.frames import Array, Pose, rigid
from clearance.job.schema import Job
from clearance.motion.result import ClearanceField, MotionState, Sweep
from clearance.provenance import InputFile
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.zone import Zone
from clearance.verdict.result import Budget, CheckResult, Fix, Verdict, ZoneResult

RADIUS, CENTRE = 30.0, np.array([100.0, 50.0, 20.0])
CEILING, FLOOR = 60.0, -20.0
UP, DOWN = 5.0, -2.0
TURNED = np.array([[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
"""A quarter turn about z: the part's own axes are not the bay's."""

T_BAY_PART = rigid("bay", "part", TURNED, CENTRE)
SIGMA_MM, SIGMA_RAD = 0.1, 0.002


def lifted(by: float) -> Pose:
    return rigid("bay", "bay", np.eye(3), (0, 0, by))


def _mesh(shape: trimesh.Trimesh) -> Mesh:
    return Mesh(np.asarray(shape.vertices, np.float64), np.asarray(shape.faces, np.int64))


def _sphere() -> Mesh:
    return _mesh(trimesh.creation.icosphere(subdivisions=4, radius=RADIUS))


def ceiling_points() -> Array:
    x, y = np.meshgrid(np.arange(40, 161.0, 2.0), np.arange(-10, 111.0, 2.0))
    return np.column_stack([x.ravel(), y.ravel(), np.full(x.size, CEILING)])


def floor_box() -> Mesh:
    box = trimesh.creation.box((160, 160, 10)).subdivide().subdivide().subdivide()
    box.apply_translation((CENTRE[0], CENTRE[1], FLOOR - 5))
    return _mesh(box)


def _job(names: tuple[str, str], folder: Path) -> Job:
    return Job.model_validate(
        {
            "title": "sphere between ceiling and floor",
            "part": {"file": "sphere.stl", "unit": "mm", "tolerance": 0.2},
            "bay": {"files": ["bay.ply"], "unit": "mm", "accuracy": 0.05},
            "register": {"method": "given", "shift": [100.0, 50.0, 20.0], "turn": {"axis": [0, 0, 1], "degrees": 90.0}},
            "zone": [
                {"name": names[0], "kind": "chassis", "where": {"rest": True}, "gap": 8.0},
                {"name": names[1], "kind": "line", "where": {"file": "floor.stl", "unit": "mm"}, "gap": 6.0},
            ],
            "rock": {
                "axis": {"point": [0.0, 0.0, 0.0], "direction": [1.0, 0.0, 0.0]},
                "roll": [0.0, 0.0],
                "lift": [DOWN, UP],
            },
            "file": folder / "job.toml",
        }
    )


def _budget(spacing: float) -> Budget:
    return Budget(
        registration=0.1, noise=0.05, accuracy=0.05, spacing=spacing,
        tolerance=0.2, fit=0.0, growth=0.0, standard=0.17, guard=0.28 + spacing,
    )  # fmt: skip


def _sweep(bound: Bound, lift: float, on_part: float, on_zone: float, away: float) -> Sweep:
    return Sweep(
        clearance=bound,
        worst=MotionState(roll_rad=0.0, lift_mm=lift, shift_mm=0.0),
        on_part=np.array([CENTRE[0], CENTRE[1], on_part]),
        on_zone=np.array([CENTRE[0], CENTRE[1], on_zone]),
        direction=np.array([0.0, 0.0, away]),
        cells=np.array([[0.0, 0.0, bound.lower]]),
        evaluations=3,
    )


def _field(values: Array, cap: float) -> ClearanceField:
    return ClearanceField(values_mm=np.minimum(values, cap), cap_mm=cap, may_be_lower_mm=0.1)


def _ceiling(name: str, placed: Mesh) -> ZoneResult:
    points = ceiling_points()
    zone = Zone(
        name=name, table=name, kind="chassis", rides="chassis", gap_mm=8.0, points=points,
        spacing_mm=np.full(len(points), 2.0, np.float32), stray_points=np.zeros((0, 3)),
    )  # fmt: skip
    from_points = np.linalg.norm(points - lifted(UP).apply(CENTRE), axis=1) - RADIUS
    return ZoneResult(
        zone=zone,
        sweep=_sweep(Bound(4.99, 5.0), UP, CENTRE[2] + RADIUS, CEILING, -1.0),
        nearest_raw_point_mm=5.0,
        budget=_budget(0.07),
        hot=False,
        factor=1.0,
        sweeps=(),
        verdict=Verdict.FAIL,
        reason="at most 5.28 mm, 8 mm is required: short by at least 2.72 mm",
        part_field=_field(CEILING - UP - placed.vertices[:, 2], 17.6),
        zone_field=_field(from_points, 17.6),
        at_rest_mm=Bound(9.99, 10.0),
        worst_part_pose=lifted(UP) @ T_BAY_PART,
        worst_zone_pose=lifted(0.0),
    )


def _floor(name: str, placed: Mesh) -> ZoneResult:
    box = floor_box()
    zone = Zone(
        name=name, table=name, kind="line", rides="chassis", gap_mm=6.0, mesh=box, shown=box, closed=True,
        stray_points=np.zeros((0, 3)),
    )  # fmt: skip
    from_box = np.linalg.norm(box.vertices - lifted(DOWN).apply(CENTRE), axis=1) - RADIUS
    return ZoneResult(
        zone=zone,
        sweep=_sweep(Bound(7.99, 8.0), DOWN, CENTRE[2] - RADIUS, FLOOR, 1.0),
        nearest_raw_point_mm=None,
        budget=_budget(0.0),
        hot=False,
        factor=1.0,
        sweeps=(),
        verdict=Verdict.PASS,
        reason="at least 7.71 mm is proven, 6 mm is required",
        part_field=_field(placed.vertices[:, 2] + DOWN - FLOOR, 13.2),
        zone_field=_field(from_box, 13.2),
        at_rest_mm=Bound(9.99, 10.0),
        worst_part_pose=lifted(DOWN) @ T_BAY_PART,
        worst_zone_pose=lifted(0.0),
    )


@pytest.fixture
def build(tmp_path: Path) -> Callable[..., CheckResult]:
    """Build the result for a job in `tmp_path`, zones named as wanted."""

    def with_names(ceiling: str = "ceiling", floor: str = "floor") -> CheckResult:
        sphere = _sphere()
        part = Part(
            name="sphere.stl", mesh=sphere, shown=sphere, closed=True, rides="engine", tolerance_mm=0.2, material="316L"
        )
        placed = sphere.moved(T_BAY_PART)
        zones = (_ceiling(ceiling, placed), _floor(floor, placed))
        return CheckResult(
            job=_job((ceiling, floor), tmp_path),
            part=part,
            scan=None,
            registration=Registration(
                method="given",
                T_bay_part=T_BAY_PART,
                converged=True,
                covariance=np.diag([SIGMA_RAD**2] * 3 + [SIGMA_MM**2] * 3),
                centre=CENTRE,
            ),
            zones=zones,
            verdict=Verdict.FAIL,
            reason=f"{ceiling}: {zones[0].reason}",
            fixes=(
                Fix(
                    zone=ceiling, centre=zones[0].sweep.on_part, direction=zones[0].sweep.direction,
                    short_mm=3.36, area_mm2=412.0, faces=np.array([0]),
                    moved=Mesh(placed.vertices[placed.faces[0]], np.array([[0, 1, 2]])),
                    room_mm=2.0, room_to=floor, own_surfaces_mm=(3.0, 40.0),
                ),
            ),
            inputs=(
                InputFile(file="sphere.stl", sha256="ab" * 32, unit="mm", triangles=5120),
                InputFile(file="bay.ply", sha256="cd" * 32, unit="mm", points=3721),
            ),
            notes=("the part was taken cold",),
            timing_s={"total": 1.5},
            versions={"python": "3.11"},
        )  # fmt: skip

    return with_names


@pytest.fixture
def result(build: Callable[..., CheckResult]) -> CheckResult:
    return build()
