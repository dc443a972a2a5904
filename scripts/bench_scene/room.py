"""A study of moves, by `room` and by a plain loop over its poses with the same distance library.

A bent pipe of some thousand triangles over a floor and beside a wall of scan points, on an engine that rolls, lifts
and shifts. The plain loop asks python-fcl for the distance of the same near bodies at every pose of the moves and
9 x 3 x 3 states of the rock: it is told what is near, and proves nothing between its poses.
"""

from __future__ import annotations

import resource
import time
from collections.abc import Iterator
from itertools import product

import fcl
import numpy as np

from clearance.distance.body import point_body
from clearance.distance.fcl_engine import FclBody
from clearance.motion.rock import rock_from
from clearance.moves.cells import Cells, Study
from clearance.moves.demand import Demand
from clearance.moves.search import Ruling
from clearance.moves.solve import How, solve
from clearance.moves.space import MoveSpace
from clearance.scene.mesh import Mesh

NEED_MM = 15.0
PITCH_MM = 2.0


def bench_study(side: int) -> Study:
    """Return a study of side^3 shifts."""
    pipe = _bent_pipe(radius=21.0, rings=60, sides=32)
    part = pipe
    u, v = (a.ravel() for a in np.meshgrid(np.arange(-200, 200, PITCH_MM), np.arange(-120, 120, PITCH_MM)))
    rng = np.random.default_rng(5)
    floor = np.column_stack([u, v, rng.normal(-44, 0.1, len(u))])
    wall = np.column_stack([u, rng.normal(78, 0.1, len(u)), v + 40])
    rock = rock_from(
        point=np.array([0.0, 0, 150]), direction=np.array([1.0, 0, 0]), up=np.array([0.0, 0, 1]),
        forward=np.array([1.0, 0, 0]), roll_deg=(-2.0, 2.0), lift_mm=(-1.0, 2.0), shift_mm=(-1.0, 1.0),
    )  # fmt: skip
    demands = tuple(
        Demand(
            zone=name, part=part, whole=part, closed=True, solid=points, zone_closed=False, rock=rock, outer=-1,
            need_mm=NEED_MM,
        )
        for name, points in (("floor", floor), ("wall", wall))
    )  # fmt: skip
    space = MoveSpace(
        low=np.array([-16.0, -16, -16, 0, 0, 0]), high=np.array([16.0, 16, 16, 0, 0, 0]), step_mm=32 / side,
        step_rad=1.0, about=np.zeros(3), mm_per_rad=300.0,
    )  # fmt: skip
    return Study(space=space, demands=demands, most=10**9)


def _bent_pipe(radius: float, rings: int, sides: int) -> Mesh:
    """A closed pipe along a wavy half circle in the plane across y."""
    angle = np.linspace(0, np.pi, rings)
    path = np.column_stack([120 * np.cos(angle), 30 * np.sin(3 * angle), 60 * np.sin(angle)])
    along = np.gradient(path, axis=0)
    along /= np.linalg.norm(along, axis=1)[:, None]
    u = np.cross(along, [0.0, 1, 0])
    u /= np.linalg.norm(u, axis=1)[:, None]
    v = np.cross(along, u)
    turn = 2 * np.pi * np.arange(sides) / sides
    ring = np.cos(turn)[None, :, None] * u[:, None] + np.sin(turn)[None, :, None] * v[:, None]
    vertices = np.vstack([(path[:, None] + radius * ring).reshape(-1, 3), path[:1], path[-1:]])
    here = np.arange(rings * sides).reshape(rings, sides)
    beside = np.roll(here, -1, axis=1)
    first, last = rings * sides, rings * sides + 1
    faces = [
        np.stack([here[:-1], beside[:-1], beside[1:]], axis=-1).reshape(-1, 3),
        np.stack([here[:-1], beside[1:], here[1:]], axis=-1).reshape(-1, 3),
        np.stack([np.full(sides, first), beside[0], here[0]], axis=1),
        np.stack([np.full(sides, last), here[-1], beside[-1]], axis=1),
    ]
    return Mesh(vertices, np.concatenate(faces).astype(np.int64))


def room_rows(side: int, plain_s: float = 10.0) -> Iterator[tuple[str, str, str, str, str]]:
    """Time `room` on one core and on two, and the plain loop for about `plain_s` seconds of random poses."""
    study, rates = bench_study(side), []
    poses, found = study.space.poses, None
    for workers in (1, 2):
        wall, cpu = time.perf_counter(), cpu_s()
        cells, _ = solve(study, How(workers=workers))
        wall, cpu = time.perf_counter() - wall, cpu_s() - cpu
        if found is not None and not np.array_equal(found.ruling, cells.ruling):
            raise SystemExit("two processes decide otherwise than one")
        found, decided = cells, int(cells.poses[cells.ruling != Ruling.UNDECIDED].sum())
        rates.append(decided / cpu)
        said = f"{len(cells.low)} cells, {100 * decided / poses:.1f} % decided, {decided / wall:.0f} poses a second"
        yield f"room, {poses} poses, processes: {workers}", f"{wall:.1f}", f"{cpu:.1f}", "", said
    assert found is not None
    each, cpu = _plain_s(study, found, plain_s)
    said = f"{1 / each:.1f} poses a second, scaled up; room decides {rates[0] * cpu:.0f} times as many in a CPU second"
    yield f"python-fcl, {poses} poses, 81 states each", f"{each * poses:.0f}", f"{cpu * poses:.0f}", "", said


def cpu_s() -> float:
    """Return the CPU seconds of this process and those that it started and that have ended."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def _plain_s(study: Study, cells: Cells, seconds: float) -> tuple[float, float]:
    """Wall and CPU seconds a pose of the plain loop, at random cells of the grid; each must agree with the cells."""
    rng, space = np.random.default_rng(1), study.space
    bodies = []
    for demand in study.demands:
        model = fcl.BVHModel()
        model.beginModel(len(demand.part.faces), len(demand.part.vertices))
        model.addSubModel(demand.part.vertices, demand.part.faces)
        model.endModel()
        bodies.append((fcl.CollisionObject(model, fcl.Transform()), FclBody(point_body(demand.solid))._object))
    rock = study.demands[0].rock
    ranges = (np.linspace(*rock.roll_rad, 9), np.linspace(*rock.lift_mm, 3), np.linspace(*rock.shift_mm, 3))
    states = [rock.pose(*state).matrix for state in product(*ranges)]
    done, start, cpu = 0, time.perf_counter(), cpu_s()
    while time.perf_counter() - start < seconds or not done:
        index = rng.integers(0, space.counts)
        move = (space.edge(index) + space.edge(index + 1)) / 2
        least = np.inf
        for part, zone in bodies:
            for matrix in states:
                part.setTransform(fcl.Transform(matrix[:3, :3], matrix[:3, 3] + move[:3]))
                least = min(least, fcl.distance(part, zone, fcl.DistanceRequest(), fcl.DistanceResult()))
        cell = ((cells.low <= index) & (cells.high > index)).all(axis=1).argmax()
        if cells.ruling[cell] == Ruling.FREE and least < NEED_MM - 1e-6:
            raise SystemExit(f"a free cell holds a pose at {least} mm: {move}")
        done += 1
    return (time.perf_counter() - start) / done, (cpu_s() - cpu) / done
