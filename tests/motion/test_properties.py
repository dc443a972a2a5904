"""What must not change the answer, and which way it must change. Scenes are drawn by seed (helpers/scenes.py)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from scenes import TOLERANCE_MM, Scene, random_scene
from scipy.spatial.transform import Rotation

from clearance.frames import Array
from clearance.motion.result import Sweep
from clearance.scene.mesh import Mesh

SEEDS = st.integers(0, 2**32 - 1)
FEW = settings(max_examples=25)
SAME_MM = 1e-6


def agree(a: Sweep, b: Sweep, slack: float = SAME_MM) -> None:
    """Two bounds of one truth overlap, and say the same of its sign where both are sure."""
    assert max(a.clearance.lower, b.clearance.lower) <= min(a.clearance.upper, b.clearance.upper) + slack
    if a.clearance.lower > SAME_MM or b.clearance.lower > SAME_MM:
        assert (a.clearance.upper > 0) == (b.clearance.upper > 0)
        assert a.contained == b.contained


def moved(scene: Scene, rotation: Array, shift: Array, scale: float = 1.0) -> Scene:
    def body(solid: Mesh | Array) -> Mesh | Array:
        if isinstance(solid, Mesh):
            return Mesh(scale * (solid.vertices @ rotation.T + shift), solid.faces)
        return scale * (solid @ rotation.T + shift)

    rock = scene.motion.rock
    if rock is not None:
        rock = replace(
            rock,
            point=scale * (rotation @ rock.point + shift),
            direction=rotation @ rock.direction, up=rotation @ rock.up, forward=rotation @ rock.forward,
            lift_mm=(scale * rock.lift_mm[0], scale * rock.lift_mm[1]),
            shift_mm=(scale * rock.shift_mm[0], scale * rock.shift_mm[1]),
        )  # fmt: skip
    part, zone = body(scene.part), body(scene.zone)
    assert isinstance(part, Mesh)
    return replace(scene, part=part, zone=zone, motion=replace(scene.motion, rock=rock))


@FEW
@given(SEEDS)
def test_moving_everything_together_changes_nothing(seed):
    scene = random_scene(seed)
    rng = np.random.default_rng(seed)
    other = moved(scene, Rotation.random(rng=rng).as_matrix(), rng.normal(size=3) * 200)
    a, b = scene.answer(), other.answer()
    agree(a, b, 1e-5)  # A scene 1e5 mm out is turned about the origin: float64 leaves about 1e-10 x 1e5 of it.
    if (scene.motion.low == scene.motion.high).all() and a.clearance.upper > 0:
        assert abs(a.clearance.upper - b.clearance.upper) <= SAME_MM


@FEW
@given(SEEDS, st.floats(0.05, 20))
def test_everything_grows_in_proportion(seed, scale):
    scene = random_scene(seed)
    a, b = scene.answer(), moved(scene, np.eye(3), np.zeros(3), scale).answer()
    low, high = scale * a.clearance.lower, scale * a.clearance.upper
    assert max(low, b.clearance.lower) <= min(high, b.clearance.upper) + 1e-5 * max(1.0, scale)
    assert (a.clearance.upper > 0) == (b.clearance.upper > 0) or min(abs(high), abs(b.clearance.upper)) < 1e-4


@FEW
@given(SEEDS)
def test_part_and_zone_may_change_places(seed):
    scene = random_scene(seed)
    if not isinstance(scene.zone, Mesh) or not (scene.part_closed and scene.zone_closed):
        part, zone = random_scene(seed + 1).part, random_scene(seed + 2).part
        zone = Mesh(zone.vertices - zone.vertices.mean(axis=0) + part.vertices.mean(axis=0) + 40, zone.faces)
        scene = replace(scene, part=part, zone=zone, part_closed=False, zone_closed=False)
        scene = replace(scene, motion=replace(scene.motion, rock=None, turned=None))
        if scene.answer().clearance.upper <= 0:  # Inside of an open body is asked one way only.
            return
    swapped = {"part": "zone", "zone": "part", None: None}[scene.motion.turned]
    assert isinstance(scene.zone, Mesh)
    mirror = Scene(scene.zone, scene.zone_closed, scene.part, scene.part_closed, replace(scene.motion, turned=swapped))
    agree(scene.answer(), mirror.answer())


@FEW
@given(SEEDS, st.tuples(*[st.floats(0, 1)] * 6))
def test_more_motion_is_never_more_clearance(seed, shares):
    scene = random_scene(seed)
    rock = scene.motion.rock
    if rock is None:
        return
    less = replace(
        rock,
        roll_rad=(rock.roll_rad[0] * shares[0], rock.roll_rad[1] * shares[1]),
        lift_mm=(rock.lift_mm[0] * shares[2], rock.lift_mm[1] * shares[3]),
        shift_mm=(rock.shift_mm[0] * shares[4], rock.shift_mm[1] * shares[5]),
    )
    small = replace(scene, motion=replace(scene.motion, rock=less)).answer()
    assert scene.answer().clearance.lower <= small.clearance.upper + SAME_MM
    if scene.part_closed and small.clearance.upper < 0:
        assert scene.answer().clearance.upper <= 0


@FEW
@given(SEEDS)
def test_asking_twice_is_asking_once(seed):
    scene = random_scene(seed)
    a, b = scene.answer(), scene.answer()
    assert (a.clearance, a.worst, a.evaluations) == (b.clearance, b.worst, b.evaluations)


@FEW
@given(SEEDS, st.floats(1e-3, 5.0))
def test_moving_against_the_direction_loses_just_that_much(seed, step_mm):
    """At a standstill: the witness points come together by the step, and nothing can come nearer faster."""
    scene = random_scene(seed)
    still = replace(scene, motion=replace(scene.motion, rock=None, turned=None))
    a = still.answer()
    if a.clearance.upper <= 0:
        return
    part = Mesh(still.part.vertices - a.direction * min(step_mm, a.clearance.upper / 2), still.part.faces)
    nearer = replace(still, part=part).answer()
    lost = a.clearance.upper - nearer.clearance.upper
    assert abs(lost - min(step_mm, a.clearance.upper / 2)) <= 1e-5
    assert nearer.clearance.width <= TOLERANCE_MM
