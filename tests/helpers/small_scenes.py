"""Small random scenes of known truth, thousands a minute: does the program ever pass what is short?

Two kinds. Wall: points against a wide wall, where the height of a point over the wall is a sinusoid of the one
angle, so that the least over any range is a closed form. Solid: points or a triangle against a tetrahedron or a
few loose triangles over every motion at once, where truth is the least over many poses, thickest about the worst
one: it can only be too high, so a pass that it refutes is surely false.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from itertools import product

import numpy as np
import trimesh
from brute import Array, over_poses, point_triangle
from scipy.spatial.transform import Rotation

from clearance.bounds import Bound
from clearance.frames import identity
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.result import MotionState, Sweep
from clearance.motion.rock import rock_from
from clearance.motion.sweep import sweep
from clearance.motion.zone_motion import Stroke, Travel, ZoneMotion
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh
from clearance.verdict.decide import decide_zone
from clearance.verdict.result import Budget, Verdict

TOLERANCE_MM = 0.02
WIDEST_MM = 5 * TOLERANCE_MM
"""A search that gives up where the clearance hardly changes leaves a wider bound, which is told; not by more."""

SAME_MM = 1e-6
"""What two float64 computations may differ by: 1 nm on lengths of a metre."""

WALL_MM = 4000.0
"""Half the side of the wall: every foot lies well within it."""

SURE = Registration(
    method="given", T_bay_part=identity("bay", "part"), converged=True, covariance=np.zeros((6, 6)), centre=np.zeros(3)
)
CERTAIN = Budget(**{line.name: 0.0 for line in fields(Budget)})

NAMES = ("roll_rad", "lift_mm", "shift_mm", "travel_rad", "stroke_mm")


@dataclass(frozen=True)
class SmallScene:
    """A scene, the ranges (5, 2) of `NAMES` and what the part rides on."""

    part: Mesh
    part_closed: bool
    zone: Mesh | Array
    motion: PairMotion
    part_rides: str
    zone_rides: str
    axes: dict[str, Array]
    ranges: Array
    wall: bool

    def answer(self) -> Sweep:
        return sweep(self.part, self.part_closed, self.zone, False, self.motion, TOLERANCE_MM)


def small_scene(seed: int) -> SmallScene:
    rng = np.random.default_rng(seed)
    wall = bool(rng.random() < 0.5)
    size = 10 ** rng.uniform(0.7, 1.8)
    axes = _axes(rng, size)
    ranges = _ranges(rng, size)
    part_rides, zone_rides = (str(c) for c in rng.choice(["engine", "chassis"], 2))
    if wall:
        # One angle only: the height is then a sinusoid.
        ranges[3 if rng.random() < 0.6 and part_rides != zone_rides else 0] = 0.0
        part, closed = _wall(rng, size), False
        zone: Mesh | Array = rng.normal(size=(rng.integers(1, 4), 3)) * size
    else:
        part, closed = _solid(rng, size)
        centre = _unit(rng) * size * rng.uniform(*((0, 1.2) if rng.random() < 0.05 else (1.5, 4.5)))
        if rng.random() < 0.3:
            zone = Mesh(centre + rng.normal(size=(3, 3)) * size * 0.5, np.array([[0, 1, 2]]))
        else:
            zone = centre + rng.normal(size=(rng.integers(1, 7), 3)) * size * 0.5
    rock = rock_from(
        point=axes["rock"], direction=axes["roll"], up=axes["up"], forward=axes["forward"],
        roll_deg=tuple(np.degrees(ranges[0])), lift_mm=tuple(ranges[1]), shift_mm=tuple(ranges[2]),
    )  # fmt: skip
    travel = Travel(point=axes["joint"], direction=axes["swing"], range_rad=tuple(ranges[3]))
    stroke = Stroke(direction=axes["stroke"], range_mm=tuple(ranges[4]))
    moves = ZoneMotion(
        rides=zone_rides,
        travel=travel if np.ptp(ranges[3]) else None,
        stroke=stroke if np.ptp(ranges[4]) else None,
    )
    motion = pair_motion(part_rides, moves, rock)
    return SmallScene(part, closed, zone, motion, part_rides, zone_rides, axes, ranges, wall)


def _axes(rng: np.random.Generator, size: float) -> dict[str, Array]:
    axes = {name: _unit(rng) for name in ("roll", "up", "forward", "swing", "stroke")}
    axes["rock"], axes["joint"] = rng.normal(size=(2, 3)) * size * rng.choice([0.3, 1.0, 5.0])
    return axes


def _unit(rng: np.random.Generator) -> Array:
    way = rng.normal(size=3)
    return way / np.linalg.norm(way)


def _ranges(rng: np.random.Generator, size: float) -> Array:
    widest = np.array([np.radians(rng.choice([4.0, 30.0])), 0.3 * size, 0.3 * size, np.radians(20.0), 0.5 * size])
    ranges = rng.uniform(0, 1, (5, 2)) * widest[:, None] * (-1, 1)
    still = rng.random(5) < 0.45
    ranges[still] = 0.0
    return ranges


def _wall(rng: np.random.Generator, size: float) -> Mesh:
    turn = Rotation.random(rng=rng).as_matrix()
    corners = WALL_MM * np.array([[-1.0, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0]]) + (0, 0, rng.uniform(0, 6) * size)
    return Mesh(corners @ turn.T, np.array([[0, 1, 2], [0, 2, 3]]))


def _solid(rng: np.random.Generator, size: float) -> tuple[Mesh, bool]:
    if rng.random() < 0.7:
        shape = trimesh.convex.convex_hull(rng.normal(size=(4, 3)) * size * 0.6)
        return Mesh(np.asarray(shape.vertices, float), np.asarray(shape.faces, np.int64)), True
    count = int(rng.integers(1, 4))
    return Mesh(rng.normal(size=(3 * count, 3)) * size * 0.6, np.arange(3 * count).reshape(-1, 3)), False


def moved(scene: SmallScene, states: Array) -> tuple[Array, Array]:
    """(p, m, 3, 3) triangles of part and zone at (p, 5) states, by scipy's rotations, not the program's poses."""
    axes = scene.axes
    roll, lift, shift, travel, stroke = states.T
    part, zone = (
        np.repeat((x.triangles if isinstance(x, Mesh) else np.repeat(x[:, None], 3, axis=1))[None], len(states), axis=0)
        for x in (scene.part, scene.zone)
    )
    zone = zone + (stroke[:, None] * axes["stroke"])[:, None, None]
    zone = _turned(zone, axes["joint"], axes["swing"], travel)
    along = (lift[:, None] * axes["up"] + shift[:, None] * axes["forward"])[:, None, None]
    if scene.part_rides == "engine":
        part = _turned(part, axes["rock"], axes["roll"], roll) + along
    if scene.zone_rides == "engine":
        zone = _turned(zone, axes["rock"], axes["roll"], roll) + along
    return part, zone


def _turned(soup: Array, point: Array, axis: Array, angle: Array) -> Array:
    rotation = Rotation.from_rotvec(angle[:, None] * axis).as_matrix()
    return (soup - point) @ rotation.swapaxes(1, 2)[:, None] + point


def heights(scene: SmallScene, states: Array) -> Array:
    """(p, n) heights of the zone's points over the plane of the wall at (p, 5) states."""
    part, zone = moved(scene, states)
    a, b, c = part[:, 0, 0], part[:, 0, 1], part[:, 0, 2]
    normal = np.cross(b - a, c - a)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    return np.einsum("pni,pi->pn", zone[:, :, 0] - a[:, None], normal)


def wall_truth(scene: SmallScene) -> float:
    """Closed form: least |height| over the motion; 0 where a height changes sign.

    At fixed straight motions a height is A + B cos(t) + C sin(t) of the one angle t; in each straight motion it is
    linear, so its extremes lie at their ends. A, B and C follow from the heights at three angles.
    """
    one = 0 if np.ptp(scene.ranges[0]) and scene.part_rides != scene.zone_rides else 3
    low, high = scene.ranges[one]
    others = [k for k in range(5) if k != one]
    ends = np.array(list(product(*(np.unique(scene.ranges[k]) for k in others))))
    three = np.array([0.0, 2 * np.pi / 3, -2 * np.pi / 3])
    states = np.zeros((len(ends), 3, 5))
    states[:, :, others] = ends[:, None]
    states[:, :, one] = three
    found = heights(scene, states.reshape(-1, 5)).reshape(len(ends), 3, -1)
    mean = found.mean(axis=1)
    cosine = 2 / 3 * (found * np.cos(three)[:, None]).sum(axis=1)
    sine = 2 / 3 * (found * np.sin(three)[:, None]).sum(axis=1)
    peak = np.arctan2(sine, cosine)
    size = np.hypot(cosine, sine)
    at = [np.full_like(peak, low), np.full_like(peak, high)]
    turning = [peak + k * np.pi for k in range(-3, 4)]
    at += [np.where((t >= low) & (t <= high), t, low) for t in turning]
    values = np.stack([mean + size * np.cos(t - peak) for t in at])
    lowest, highest = values.min(axis=(0, 1)), values.max(axis=(0, 1))
    return float(np.where(lowest * highest <= 0, 0.0, np.minimum(np.abs(lowest), np.abs(highest))).min())


def sampled_least(scene: SmallScene, answer: Sweep, rng: np.random.Generator, count: int = 40) -> float:
    """Least distance over the corners, random poses and poses about the answer's worst; 0 inside a tetrahedron."""
    low, high = scene.ranges.T
    corners = np.array(list(product((0.0, 1.0), repeat=5)))
    states = low + np.vstack([corners, rng.random((count, 5))]) * (high - low)
    worst = np.array([getattr(answer.worst, name) or 0.0 for name in NAMES])
    near = worst + rng.normal(size=(count, 5)) * 10 ** rng.uniform(-4, -0.5, (count, 1)) * (high - low)
    part, zone = moved(scene, np.clip(np.vstack([states, near]), low, high))
    if scene.part_closed and _any_inside(part, zone):
        return 0.0
    return float(over_poses(part, zone).min())


def _any_inside(part: Array, zone: Array) -> bool:
    """Tell whether a corner of the zone lies in the convex part, by the planes of its faces."""
    a, b, c = part[:, :, 0], part[:, :, 1], part[:, :, 2]
    normal = np.cross(b - a, c - a)
    outward = np.sign(np.einsum("pmi,pmi->pm", normal, a - part.mean(axis=(1, 2))[:, None]))
    corners = zone.reshape(len(zone), -1, 3)
    height = np.einsum("pkmi,pmi->pkm", corners[:, :, None] - a[:, None], normal) * outward[:, None]
    return bool((height < 0).all(axis=2).any())


@dataclass(frozen=True)
class Told:
    """What came of one scene: kind, verdict at a gap near the truth, faults, if any, and a bound wider than asked."""

    kind: str
    verdict: str
    faults: tuple[str, ...]
    wide: bool


def judge_small(seed: int, ask: Callable[[SmallScene], Sweep] = SmallScene.answer) -> Told:
    """Ask the program and compare with the truth: the bound, and the verdict on a gap drawn about it."""
    scene = small_scene(seed)
    answer, rng = ask(scene), np.random.default_rng((seed, 1))
    bound = answer.clearance
    truth = wall_truth(scene) if scene.wall else sampled_least(scene, answer, rng)
    gap = max(truth + rng.choice([-1.0, 1.0]) * 10 ** rng.uniform(-4, 1), 0.0)
    verdict, _ = decide_zone(bound, gap, CERTAIN, SURE)
    faults = []
    if verdict is Verdict.PASS and truth < gap - SAME_MM:
        faults.append(f"false pass: {truth} mm, {gap} mm required, bound {bound}")
    if bound.lower > truth + SAME_MM:
        faults.append(f"lower end above the truth: {bound}, {truth}")
    faults += _attained(scene, answer, bound)
    if scene.wall and bound.upper > 0 and verdict is Verdict.FAIL and truth > gap + SAME_MM:
        faults.append(f"false fail: {truth} mm, {gap} mm required, bound {bound}")
    if bound.upper > 0 and bound.width > WIDEST_MM:
        faults.append(f"loose: {bound}")
    wide = bound.upper > 0 and bound.width > TOLERANCE_MM + SAME_MM
    return Told("wall" if scene.wall else "solid", str(verdict), tuple(faults), wide)


def _attained(scene: SmallScene, answer: Sweep, bound: Bound) -> list[str]:
    """Compare a clear answer's upper end with the distance at the pose it names."""
    if bound.upper <= 0:
        return []
    state = np.array([[getattr(answer.worst, name) or 0.0 for name in NAMES]])
    if not _within(answer.worst, scene.ranges):
        return [f"the worst pose is none of the motion: {answer.worst}"]
    part, zone = moved(scene, state)
    if scene.wall:
        there = float(point_triangle(zone[0][:, None, 0], part[0][None]).min())
    else:
        there = float(over_poses(part, zone).min())
    return [] if abs(there - bound.upper) <= SAME_MM else [f"upper {bound.upper} is not attained: {there}"]


def _within(state: MotionState, ranges: Array) -> bool:
    values = [getattr(state, name) or 0.0 for name in NAMES]
    return all(low - 1e-12 <= v <= high + 1e-12 for v, (low, high) in zip(values, ranges, strict=True))
