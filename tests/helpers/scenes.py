"""Random small scenes, and what must hold of a sweep's answer to each, judged by brute force.

A clear answer [lower, upper] holds the true minimum if
  lower <= clearance at every pose of the motion that anyone can name (here: some hundreds, thickest
           where the clearance is least), and
  upper  = clearance at the pose the answer names, for that pose belongs to the motion,
and is useful if upper - lower is no more than was asked for. An answer of interference [lower, upper <= 0]
holds the truth if no point of either body is ever deeper than -lower, and one is as deep as -upper at the
pose that is named.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
import trimesh
from brute import Array, distance, over_poses, point_triangle, signed
from scipy.spatial.transform import Rotation

from clearance.motion.pair import PairMotion
from clearance.motion.result import MotionState, Sweep
from clearance.motion.rock import Rock, rock_from
from clearance.motion.sweep import sweep
from clearance.scene.mesh import Mesh

TOLERANCE_MM = 0.02
SAME_MM = 1e-5
"""What two float64 computations may differ by: 10 nm, a thousandth of what any report shows."""


@dataclass(frozen=True)
class Scene:
    part: Mesh
    part_closed: bool
    zone: Mesh | Array
    zone_closed: bool
    motion: PairMotion

    def answer(self) -> Sweep:
        return sweep(self.part, self.part_closed, self.zone, self.zone_closed, self.motion, TOLERANCE_MM)


def soup(solid: Mesh | Array) -> Array:
    """(m, 3, 3) triangles; a scan point is a triangle with equal corners."""
    return solid.triangles if isinstance(solid, Mesh) else np.repeat(solid[:, None], 3, axis=1)


def rocking(turned="part", **changed) -> PairMotion:
    """Return a motion that stands still but for what is `changed`."""
    values = {
        "point": [0, 0, 0], "direction": [0, 1, 0], "up": [0, 0, 1], "forward": [1, 0, 0],
        "roll_deg": (0, 0), "lift_mm": (0, 0), "shift_mm": (0, 0),
    }  # fmt: skip
    return PairMotion(rock=rock_from(**{**values, **changed}), turned=turned)


def random_scene(seed: int) -> Scene:
    rng = np.random.default_rng(seed)
    size = rng.uniform(8, 40)
    part, part_closed = _solid(rng, size, mostly_closed=True)
    relation = rng.choice(["apart", "overlapping", "inside", "around"], p=[0.76, 0.12, 0.06, 0.06])
    zone_size = size * {"apart": 1.0, "overlapping": 1.0, "inside": 0.15, "around": 6.0}[relation] * rng.uniform(0.5, 1)
    reach = {"apart": (1.8, 4.0), "overlapping": (0.3, 1.5), "inside": (0, 0.3), "around": (0, 1.0)}[relation]
    way = rng.normal(size=3)
    centre = way / np.linalg.norm(way) * rng.uniform(*reach) * size
    zone: Mesh | Array
    if rng.random() < 0.5:
        zone, zone_closed = rng.normal(size=(rng.integers(1, 40), 3)) * zone_size * 0.4, False
        if rng.random() < 0.2:
            zone = np.repeat(zone, 2, axis=0)
        zone = zone + centre
    else:
        zone, zone_closed = _solid(rng, zone_size, mostly_closed=relation in ("inside", "around"))
        zone = Mesh(zone.vertices + centre, zone.faces)
    far = rng.choice([0.0, 1e3, 1e5], p=[0.6, 0.3, 0.1]) * rng.normal(size=3)
    part = Mesh(part.vertices + far, part.faces)
    zone = Mesh(zone.vertices + far, zone.faces) if isinstance(zone, Mesh) else zone + far
    turned = rng.choice(["part", "zone", "none"], p=[0.45, 0.45, 0.1])
    motion = PairMotion() if turned == "none" else PairMotion(rock=_rock(rng, size, far), turned=str(turned))
    return Scene(part, part_closed, zone, zone_closed, motion)


def _solid(rng: np.random.Generator, size: float, *, mostly_closed: bool) -> tuple[Mesh, bool]:
    """A box, a ball, a random convex body or a tetrahedron; open: with faces missing, or loose triangles."""
    kind = rng.choice(["box", "ball", "hull", "tetrahedron", "plate"])
    if kind == "box":
        shape = trimesh.creation.box(size * rng.uniform(0.3, 2, 3))
    elif kind == "ball":
        shape = trimesh.creation.icosphere(subdivisions=0, radius=size)
    elif kind == "plate":
        shape = trimesh.creation.box(size * np.array([2, 1.5, 10 ** rng.uniform(-3, -1)]))
    else:
        shape = trimesh.convex.convex_hull(rng.normal(size=(4 if kind == "tetrahedron" else 14, 3)) * size * 0.6)
    turn = Rotation.random(rng=rng).as_matrix() if rng.random() < 0.7 else np.eye(3)
    mesh = Mesh(np.asarray(shape.vertices, float) @ turn.T, np.asarray(shape.faces, np.int64))
    if rng.random() < (0.85 if mostly_closed else 0.5):
        return mesh, True
    if rng.random() < 0.5:
        keep = rng.random(len(mesh.faces)) < 0.6
        keep[0] = True
        return Mesh(mesh.vertices, mesh.faces[keep]), False
    count = int(rng.integers(1, 10))
    corners = rng.normal(size=(count, 1, 3)) * size * 0.6 + rng.normal(size=(count, 3, 3)) * size * 0.4
    return Mesh(corners.reshape(-1, 3), np.arange(3 * count, dtype=np.int64).reshape(-1, 3)), False


def _rock(rng: np.random.Generator, size: float, far: Array) -> Rock:
    def span(widest: float, still: float) -> tuple[float, float]:
        if rng.random() < still:
            return (0.0, 0.0)
        ends = rng.uniform(0, widest, 2) * (rng.random(2) < 0.85)
        return (-float(ends[0]), float(ends[1]))

    up, forward = rng.normal(size=(2, 3))
    if rng.random() < 0.2:
        forward = up * rng.choice([1.0, -2.0])
    elif rng.random() < 0.3:
        up, forward = np.array([0.0, 0, 1]), np.array([1.0, 0, 0])
    return rock_from(
        point=far + rng.normal(size=3) * size * rng.choice([0.0, 1.0, 8.0]),
        direction=rng.normal(size=3),
        up=up,
        forward=forward,
        roll_deg=span(float(rng.choice([5.0, 40.0, 180.0], p=[0.7, 0.2, 0.1])), 0.2),
        lift_mm=span(float(rng.choice([1e-6, 3.0, 1.5 * size])), 0.3),
        shift_mm=span(float(rng.choice([1e-6, 3.0, 1.5 * size])), 0.3),
    )


def sampled_states(scene: Scene, answer: Sweep, rng: np.random.Generator, count: int = 40) -> list[MotionState]:
    """Corners, middle and random poses of the motion, and poses near the one the answer calls worst."""
    rock = scene.motion.rock
    if rock is None or scene.motion.turned is None:
        return [MotionState()]
    low = np.array([rock.roll_rad[0], rock.lift_mm[0], rock.shift_mm[0]])
    high = np.array([rock.roll_rad[1], rock.lift_mm[1], rock.shift_mm[1]])
    worst = np.array([answer.worst.roll_rad, answer.worst.lift_mm, answer.worst.shift_mm])
    shares = np.vstack([list(product((0.0, 1.0), repeat=3)), rng.random((count, 3))])
    rows = low + shares * (high - low)
    near = worst + rng.normal(size=(count, 3)) * 10 ** rng.uniform(-5, -0.5, (count, 1)) * (high - low)
    return [
        MotionState(roll_rad=r, lift_mm=lift, shift_mm=s) for r, lift, s in np.clip(np.vstack([rows, near]), low, high)
    ]


def posed(scene: Scene, states: list[MotionState]) -> tuple[Array, Array]:
    """(p, m, 3, 3) triangles of part and zone at each state, counted from the part's middle.

    Turned about the rock axis by scipy's right-handed rotation vectors, then shifted: not with the program's poses.
    """
    origin = scene.part.vertices.mean(axis=0)
    part, zone = (np.broadcast_to(x - origin, (len(states), *x.shape)) for x in (soup(scene.part), soup(scene.zone)))
    rock, turned = scene.motion.rock, scene.motion.turned
    if rock is None or turned is None:
        return part, zone
    roll, lift, shift = np.array([[s.roll_rad, s.lift_mm, s.shift_mm] for s in states], float).T
    rotation = Rotation.from_rotvec(roll[:, None] * rock.direction).as_matrix()
    about = rock.point - origin
    moved = ((part if turned == "part" else zone) - about) @ rotation.swapaxes(1, 2)[:, None]
    moved = moved + (about + lift[:, None] * rock.up + shift[:, None] * rock.forward)[:, None, None]
    return (moved, zone) if turned == "part" else (part, moved)


def judge(scene: Scene, seed: int = 0) -> str:
    """Compare the program's answer with brute force. Returns "clear" or "interfering"; raises AssertionError."""
    answer = scene.answer()
    rng = np.random.default_rng(seed)
    states = sampled_states(scene, answer, rng)
    part, zone = posed(scene, states)
    least = over_poses(part, zone)
    if answer.clearance.upper > 0:
        _judge_clear(scene, answer, least, states)
        return "clear"
    _judge_interfering(scene, answer, states, rng)
    return "interfering"


def _judge_clear(scene: Scene, answer: Sweep, least: Array, states: list[MotionState]) -> None:
    bound = answer.clearance
    assert bound.lower <= least.min(), f"unsafe: lower {bound.lower}, but {least.min()} at {states[least.argmin()]}"
    assert bound.width <= TOLERANCE_MM, f"loose: {bound}"
    worst_part, worst_zone = posed(scene, [answer.worst])
    there = distance(worst_part[0], worst_zone[0])
    assert abs(there - bound.upper) <= SAME_MM, f"upper {bound.upper} is not attained: {there} at {answer.worst}"
    part_pose, zone_pose = scene.motion.poses(answer.worst)
    between = part_pose.apply(answer.on_part) - zone_pose.apply(answer.on_zone)
    assert abs(np.linalg.norm(between) - bound.upper) <= SAME_MM, "witness points are not the clearance apart"
    gained = part_pose.rotation @ answer.direction @ between
    assert gained >= bound.upper - SAME_MM, "direction does not lead away from the zone"
    for point, body in ((answer.on_part, scene.part), (answer.on_zone, scene.zone)):
        assert point_triangle(point[None], soup(body)).min() <= SAME_MM, "a witness point is not on its body"
    assert not (scene.part_closed and _swallowed(scene, worst_part[0], worst_zone[0])), "swallowed, yet called clear"


def _depths(scene: Scene, part: Array, zone: Array) -> Array:
    """Signed distances at one pose of the zone's corners to the part and, for a closed zone, the reverse."""
    found = [signed(part, zone.reshape(-1, 3))]
    if isinstance(scene.zone, Mesh) and scene.zone_closed:
        found.append(signed(zone, part.reshape(-1, 3)))
    return np.concatenate(found)


def _swallowed(scene: Scene, part: Array, zone: Array) -> bool:
    return bool((_depths(scene, part, zone) < -SAME_MM).any())


def _judge_interfering(scene: Scene, answer: Sweep, states: list[MotionState], rng: np.random.Generator) -> None:
    bound = answer.clearance
    if scene.part_closed:
        picked = [answer.worst, *(states[i] for i in rng.choice(len(states), min(4, len(states)), replace=False))]
        depths = [_depths(scene, part, zone).min() for part, zone in zip(*posed(scene, picked), strict=True)]
        assert bound.lower <= min(depths) + 1e-9, f"deeper than the bound: {bound}, {min(depths)}"
    worst_part, worst_zone = (soup[0] for soup in posed(scene, [answer.worst]))
    if bound.upper == 0:
        if not answer.contained:
            near = distance(worst_part, worst_zone)
            assert near <= SAME_MM, f"said to touch, but {near} apart at {answer.worst}"
        return
    pose, other = scene.motion.poses(answer.worst)
    origin = scene.part.vertices.mean(axis=0)
    at_part = signed(worst_part, (other.apply(answer.on_zone) - origin)[None])[0]
    on_zone = answer.on_zone[None] if isinstance(scene.zone, Mesh) else scene.zone
    at_zone = np.inf
    if isinstance(scene.zone, Mesh) and scene.zone_closed:
        at_zone = signed(worst_zone, (pose.apply(answer.on_part) - origin)[None])[0]
    assert point_triangle(on_zone, np.repeat(answer.on_zone[None, None], 3, axis=1)).min() <= SAME_MM
    assert abs(min(at_part, at_zone) - bound.upper) <= SAME_MM, f"{bound}, but {at_part}, {at_zone}"
