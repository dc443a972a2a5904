"""Random small scenes with a range of moves, and their truth by brute force: numpy and scipy's rotations only.

The scene and its own motion are those of `small_scenes`; a move (t, w) carries x to exp([w]x)(x - c) + c + t. The
engine moves with its mounts: the move comes after the rock. The part alone, or the zone, moves before it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from brute import Array, over_poses
from scipy.spatial.transform import Rotation
from small_scenes import SmallScene, _any_inside, small_scene

from clearance.motion.zone_motion import Stroke, Travel
from clearance.moves.cells import Study
from clearance.moves.demand import Demand, powers
from clearance.moves.space import MoveSpace
from clearance.scene.mesh import Mesh

MOST = 200_000


@dataclass(frozen=True)
class MoveScene:
    scene: SmallScene
    of: str
    space: MoveSpace
    need_mm: float

    @property
    def goes(self) -> tuple[bool, bool]:
        """Whether the move carries the part and the zone."""
        part = self.of == "part" or (self.of == "engine" and self.scene.part_rides == "engine")
        zone = self.of == "transmission" or (self.of == "engine" and self.scene.zone_rides == "engine")
        return part, zone

    def study(self) -> Study:
        s = self.scene
        motion = s.motion
        rocks = s.part_rides != s.zone_rides
        turned = "zone" if rocks and s.zone_rides == "engine" else "part"
        part_goes, zone_goes = self.goes
        inner, outer = powers(rocks=rocks, turned=turned, of=self.of, part_goes=part_goes, zone_goes=zone_goes)
        travel: Travel | None = motion.travel
        stroke: Stroke | None = motion.stroke
        demand = Demand(
            zone="z", part=s.part, whole=s.part, closed=s.part_closed, solid=s.zone, zone_closed=False,
            rock=motion.rock if rocks else None, turned=turned, travel=travel, stroke=stroke, inner=inner, outer=outer,
            need_mm=self.need_mm,
        )  # fmt: skip
        return Study(space=self.space, demands=(demand,), most=MOST)


def move_scene(seed: int, parameters: int | None = None) -> MoveScene:
    """A scene with one to three (or so many) varied parameters and a need near what the middle of the range has."""
    rng = np.random.default_rng((seed, 77))
    scene = small_scene(2 * seed)
    while scene.wall:
        seed += 7919
        scene = small_scene(2 * seed)
    size = float(np.ptp(scene.part.vertices, axis=0).max())
    of = str(rng.choice(["engine", "part", "transmission"], p=[0.5, 0.25, 0.25]))
    if of == "engine" and scene.part_rides == scene.zone_rides:
        of = "part"
    varied = rng.choice(6, parameters or rng.integers(1, 4), replace=False)
    low, high = np.zeros(6), np.zeros(6)
    for k in varied:
        wide = 0.5 * size if k < 3 else np.radians(12.0)
        low[k], high[k] = -wide * rng.uniform(0.2, 1), wide * rng.uniform(0.2, 1)
    space = MoveSpace(
        low=low, high=high, step_mm=0.06 * size, step_rad=np.radians(1.5), about=rng.normal(size=3) * size,
        mm_per_rad=size,
    )  # fmt: skip
    made = MoveScene(scene, of, space, 0.0)
    here = least(made, np.zeros((1, 6)), rng)[0]
    return replace(made, need_mm=max(0.02 * size, here + size * rng.uniform(-0.15, 0.25)))


def least(made: MoveScene, moves: Array, rng: np.random.Generator, count: int = 60, refine: int = 3) -> Array:
    """Least distance, (m,) mm, over the motion at each of (m, 6) moves; 0 where a body is inside: an upper bound."""
    low, high = made.scene.ranges.T
    corners = np.unique(low + np.array(list(product((0.0, 0.5, 1.0), repeat=5))) * (high - low), axis=0)
    states = np.vstack([corners, low + rng.random((count, 5)) * (high - low)])
    found = np.empty(len(moves))
    for i, move in enumerate(moves):
        own, spread = states, (high - low) / 2
        best, value = states[0], np.inf
        for _ in range(refine + 1):
            part, zone = posed(made, own, move)
            values = each(made, part, zone)
            k = int(values.argmin())
            if values[k] < value:
                best, value = own[k], values[k]
            spread = spread / 4
            own = np.clip(best + rng.uniform(-1, 1, (count, 5)) * spread, low, high)
        found[i] = value
    return found


def each(made: MoveScene, part: Array, zone: Array) -> Array:
    """Least over all poses in the first entry that has it; others may be infinite."""
    if made.scene.part_closed and _any_inside(part, zone):
        return np.zeros(len(part))
    return over_poses(part, zone)


def posed(made: MoveScene, states: Array, move: Array) -> tuple[Array, Array]:
    """(p, m, 3, 3) triangles of part and zone at (p, 5) states after a move."""
    scene, axes = made.scene, made.scene.axes
    roll, lift, shift, travel, stroke = states.T
    part, zone = (
        np.repeat((x.triangles if isinstance(x, Mesh) else np.repeat(x[:, None], 3, axis=1))[None], len(states), axis=0)
        for x in (scene.part, scene.zone)
    )
    turn = Rotation.from_rotvec(move[3:]).as_matrix()

    def carried(soup: Array) -> Array:
        return (soup - made.space.about) @ turn.T + made.space.about + move[:3]

    def rocked(soup: Array) -> Array:
        rotation = Rotation.from_rotvec(roll[:, None] * axes["roll"]).as_matrix()
        turned = (soup - axes["rock"]) @ rotation.swapaxes(1, 2)[:, None] + axes["rock"]
        return turned + (lift[:, None] * axes["up"] + shift[:, None] * axes["forward"])[:, None, None]

    zone = zone + (stroke[:, None] * axes["stroke"])[:, None, None]
    swing = Rotation.from_rotvec(travel[:, None] * axes["swing"]).as_matrix()
    zone = (zone - axes["joint"]) @ swing.swapaxes(1, 2)[:, None] + axes["joint"]
    if made.of == "part":
        part = carried(part)
    if made.of == "transmission":
        zone = carried(zone)
    part = rocked(part) if scene.part_rides == "engine" else part
    zone = rocked(zone) if scene.zone_rides == "engine" else zone
    if made.of == "engine":
        part = carried(part) if scene.part_rides == "engine" else part
        zone = carried(zone) if scene.zone_rides == "engine" else zone
    return part, zone


def grid_of(space: MoveSpace, per_cell: int = 1) -> Array:
    """All corners of the grid, (g, 6), each side cut `per_cell` times finer."""
    lines = [
        np.linspace(lo, hi, n * per_cell + 1) if hi > lo else np.array([lo])
        for lo, hi, n in zip(space.low, space.high, space.counts, strict=True)
    ]
    return np.array(list(product(*lines)))
