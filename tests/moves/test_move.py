"""What a move does to a whole job: against closed forms, the bay moved the other way, and the way back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from clearance.frames import Pose
from clearance.job.moves import Move, MoveTurn
from clearance.job.read import read_job
from clearance.moves.displaced import Displaced, moved_job
from clearance.moves.what_if import changes, what_if

SAME_MM = 1e-6
FACETS_MM = 0.02
"""A flat of a 64-sided prism of radius 8 mm lies 8 (1 - cos(pi / 64)) = 0.0096 mm inside the circle."""

JOB = """\
[part]
file = "bar.obj"
unit = "mm"
tolerance = 0.1
[register]
method = "given"
shift = [0.0, 0.0, 0.0]
sigma_shift = 0.1
sigma_turn = 0.05
[[link]]
name = "shaft"
engine = {inner}
chassis = {outer}
[[zone]]
name = "wall"
kind = "chassis"
where = {{ file = "wall.obj", unit = "mm" }}
gap = 5
[[zone]]
name = "arm"
kind = "axle"
where = {{ file = "arm.obj", unit = "mm" }}
travel = {{ about = {joint}, axis = {swing}, degrees = [-1, 1] }}
gap = 5
[[zone]]
name = "rod"
kind = "actuator"
rides = "engine"
where = {{ file = "rod.obj", unit = "mm" }}
stroke = {{ axis = [0, 0, 1], mm = [0, 6] }}
gap = 5
[[zone]]
name = "left shaft"
kind = "axle"
rides = "shaft"
where = {{ file = "shaft.obj", unit = "mm" }}
gap = 5
[rock]
axis = {{ point = [0, 0, -100], direction = [1, 0.2, 0] }}
roll = [-0.5, 0.6]
lift = [0, 1]
"""


def _box(low, high) -> trimesh.Trimesh:
    box = trimesh.creation.box(np.subtract(high, low))
    box.apply_translation(np.add(low, high) / 2)
    return box


def _rod(start, end, radius: float) -> trimesh.Trimesh:
    return trimesh.creation.cylinder(radius, segment=[start, end], sections=64)


INNER, OUTER, JOINT, SWING = [-60.0, 0, -60], [-60.0, 150, -70], [80.0, 60, 40], [1.0, 0, 0.3]


def _write(folder: Path, matrix: np.ndarray | None = None) -> Path:
    """Write the job; with `matrix` everything of the chassis is moved by it."""
    folder.mkdir(exist_ok=True)
    moved = np.eye(4) if matrix is None else matrix
    bodies = {
        "bar": _box([-100, -20, -20], [100, 20, 20]),
        "wall": _box([-120, 45, -50], [120, 60, 50]).apply_transform(moved),
        "arm": _box([70, 40, 30], [90, 52, 90]).apply_transform(moved),
        "rod": _box([-10, -8, -60], [10, 8, -40]),
        "shaft": _rod(INNER, OUTER, 8.0),
    }
    for name, body in bodies.items():
        (folder / f"{name}.obj").write_text(body.export(file_type="obj", digits=14))
    point = lambda p: (moved[:3, :3] @ p + moved[:3, 3]).tolist()  # noqa: E731
    text = JOB.format(inner=INNER, outer=point(OUTER), joint=point(JOINT), swing=(moved[:3, :3] @ SWING).tolist())
    (folder / "job.toml").write_text(text)
    return folder / "job.toml"


def _move(of: str = "engine", **more) -> Move:
    return Move.model_validate({"of": of, **more})


MOVE = _move(
    turn=MoveTurn(axis=(0.3, -1.0, 0.5), degrees=2.5), about=(30.0, -10.0, 5.0), shift=(2.0, -4.0, 3.0)
)  # fmt: skip


def _matrix(move: Move) -> np.ndarray:
    """The move as a 4 x 4 matrix, by scipy's rotations."""
    axis = np.array(move.turn.axis) / np.linalg.norm(move.turn.axis)
    matrix = np.eye(4)
    matrix[:3, :3] = Rotation.from_rotvec(np.radians(move.turn.degrees) * axis).as_matrix()
    matrix[:3, 3] = np.array(move.about) - matrix[:3, :3] @ move.about + move.shift
    return matrix


def _numbers(result) -> dict[str, tuple[float, ...]]:
    return {
        z.zone.name: (z.sweep.clearance.lower, z.sweep.clearance.upper, z.budget.guard, z.at_rest_mm.lower)
        for z in result.zones
    }


def test_moving_the_engine_is_moving_the_bay_the_other_way(tmp_path):
    """But for the shaft on the link, whose body is found in the bay as it stands: it has a closed form below."""
    found = what_if(_write(tmp_path / "a"), [MOVE])
    back = np.linalg.inv(_matrix(MOVE))
    other = what_if(_write(tmp_path / "b", back), [_move(shift=(0.0, 0.0, 0.0))]).before
    mine, theirs = _numbers(found.cases[0].after), _numbers(other)
    for name in ("wall", "arm", "rod"):
        np.testing.assert_allclose(mine[name], theirs[name], atol=SAME_MM, err_msg=name)
    assert abs(mine["wall"][0] - _numbers(found.before)["wall"][0]) > 1.0


def test_there_and_back_restores_every_number(tmp_path):
    turn = MoveTurn(axis=MOVE.turn.axis, degrees=-MOVE.turn.degrees)
    about = tuple(np.add(MOVE.about, MOVE.shift))
    back = _move(turn=turn, about=about, shift=tuple(np.negative(MOVE.shift)))
    moves = [m.model_copy(update={"name": "there and back"}) for m in (MOVE, back)]
    found = what_if(_write(tmp_path / "a"), moves)
    assert len(found.cases) == 1
    before, after = _numbers(found.before), _numbers(found.cases[0].after)
    for name, numbers in before.items():
        np.testing.assert_allclose(after[name], numbers, atol=SAME_MM, err_msg=name)


@pytest.fixture(scope="module")
def still_job(tmp_path_factory) -> Path:
    """The job without rock, travel and stroke: clearances are plain distances."""
    job = _write(tmp_path_factory.mktemp("still"))
    text = job.read_text()
    text = text[: text.index("[rock]")]
    text = "\n".join(line for line in text.splitlines() if not line.startswith(("travel", "stroke")))
    job.write_text(text)
    return job


def test_shifts_of_engine_part_and_zone_change_plain_distances_as_they_must(still_job):
    """Bar to y = 20, wall from y = 45; rod 20 mm below the bar and riding on the engine."""
    found = what_if(
        still_job,
        [
            _move(shift=(0.0, 3.0, 0.0), name="engine"),
            _move("part", shift=(0.0, 3.0, 2.0), name="part"),
            _move("transmission", zones=("wall",), shift=(0.0, -4.0, 0.0), name="wall in"),
            _move(zones=("wall",), shift=(0.0, 3.0, 0.0), name="all"),
        ],
    )
    assert _at_rest(found.before) == pytest.approx({"wall": 25.0, "rod": 20.0}, abs=SAME_MM)
    after = {case.name: _at_rest(case.after) for case in found.cases}
    assert after["engine"] == pytest.approx({"wall": 22.0, "rod": 20.0}, abs=SAME_MM)
    assert after["part"] == pytest.approx({"wall": 22.0, "rod": 22.0}, abs=SAME_MM)
    assert after["wall in"] == pytest.approx({"wall": 21.0, "rod": 20.0}, abs=SAME_MM)
    assert after["all"] == pytest.approx({"wall": 25.0, "rod": 20.0}, abs=SAME_MM)


def _at_rest(result) -> dict[str, float]:
    return {z.zone.name: z.sweep.clearance.upper for z in result.zones if z.zone.name in ("wall", "rod")}


def test_a_link_points_at_its_outer_joint_anew(still_job):
    """The shaft's inner end is a disc 40 mm under the bar; its rim rises 8 mm times the cosine of the shaft's slope.

    The engine's lift of 40 mm takes both up and leaves the outer joint: a shaft carried along unturned would keep its
    slope, and 0.4 mm less of clearance.
    """
    found = what_if(still_job, [_move(shift=(0.0, 0.0, 40.0))])
    for result, lift in ((found.before, 0.0), (found.cases[0].after, 40.0)):
        drop = INNER[2] + lift - OUTER[2]
        truth = 40.0 - 8.0 * 150.0 / np.hypot(150.0, drop)
        there = next(z for z in result.zones if z.zone.name == "left shaft").sweep.clearance
        assert there.lower == pytest.approx(truth, abs=FACETS_MM)
    assert 40.0 - 8.0 * 150.0 / np.hypot(150.0, 10.0) < truth - 10 * FACETS_MM


def test_what_newly_interferes_and_what_is_freed_is_told(still_job):
    job = still_job.with_name("near.toml")
    job.write_text(still_job.read_text().replace("gap = 5", "gap = 30", 1))
    found = what_if(job, [_move(shift=(0.0, 30.0, 0.0)), _move(shift=(0.0, -20.0, 0.0))])
    into, away = ({row.name: row for row in changes(found.before, case.after)} for case in found.cases)
    assert into["wall"].newly_interferes
    assert not into["rod"].newly_interferes
    assert away["wall"].freed
    assert not away["rod"].freed


def test_the_placement_error_moves_with_the_part(still_job):
    """A turn by 90 degrees about z brings the error along x, sigma 3, to y."""
    from clearance.frames import Pose, rotation_about
    from clearance.moves.moved_layout import moved_registration
    from clearance.registration.result import Registration

    covariance = np.diag([0.0, 0, 0, 9.0, 1.0, 0])
    centre = np.array([1.0, 0, 0])
    registration = Registration(
        method="given", T_bay_part=Pose("bay", "part", np.eye(4)), covariance=covariance, centre=centre
    )
    turn = np.eye(4)
    turn[:3, :3] = rotation_about([0, 0, 1], np.pi / 2)
    moved = moved_registration(registration, Pose("bay", "bay", turn))
    assert moved.sigma_mm(np.zeros(3), np.array([0.0, 1, 0])) == pytest.approx(3.0)
    np.testing.assert_allclose(moved.centre, [0, 1, 0], atol=1e-12)


def test_the_mounts_come_along_and_the_roll_they_give_stays(tmp_path):
    job_file = _write(tmp_path)
    mounts = "mounts = [{ at = [0, 90, -100], rate = [50, 50, 200] }, { at = [0, -60, -80], rate = [50, 80, 150] }]"
    text = job_file.read_text().replace("roll = [-0.5, 0.6]", f"{mounts}\ntorque = [-20, 30]")
    job_file.write_text(text)
    job, pose = read_job(job_file), Pose("bay", "bay", _matrix(MOVE))
    moved = moved_job(job, Displaced(rock=pose, zones={}, links={"shaft": pose}), ())
    assert moved.rock.axis.point == pytest.approx(pose.apply(np.array(job.rock.axis.point)))
    assert moved.rock.roll_degrees == pytest.approx(job.rock.roll_degrees, rel=1e-12)
    assert job.rock.roll_degrees[1] > 0.1
