"""Small random scenes of known truth: no pass that is not true. See helpers/small_scenes.py; soak.py runs many more."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from small_scenes import TOLERANCE_MM, SmallScene, heights, judge_small, small_scene, wall_truth

from clearance.bounds import Bound
from clearance.motion.pair import PairMotion
from clearance.motion.result import Sweep
from clearance.motion.sweep import sweep

BATCH = 100


@pytest.mark.parametrize("batch", range(20))
def test_no_pass_that_is_not_true(batch):
    told: Counter[str] = Counter()
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        found = judge_small(seed)
        assert not found.faults, f"scene {seed}: {found.faults}"
        told["wide"] += found.wide
        told[f"{found.kind} {found.verdict}"] += 1
    assert min(told["wall pass"], told["wall fail"], told["solid pass"], told["solid fail"]) > 3, told
    assert told["wide"] <= 1


def _still(scene: SmallScene) -> Sweep:
    """What a program would say that forgets the motion."""
    return sweep(scene.part, scene.part_closed, scene.zone, False, PairMotion(), TOLERANCE_MM)


def test_a_program_that_forgets_the_motion_is_found_out():
    faults = [fault for seed in range(BATCH) for fault in judge_small(seed, _still).faults]
    assert sum(fault.startswith("false pass") for fault in faults) > 5
    assert sum(fault.startswith("lower end") for fault in faults) > 20


def test_a_tenth_of_a_millimetre_too_much_is_found_out():

    def boastful(scene: SmallScene) -> Sweep:
        found = scene.answer()
        bound = found.clearance
        return replace(found, clearance=Bound(bound.lower + 0.1, bound.upper + 0.1)) if bound.lower > 0 else found

    caught = clear = 0
    for seed in range(BATCH // 2):
        clear += small_scene(seed).answer().clearance.lower > 0
        caught += any(f.startswith("lower end") for f in judge_small(seed, boastful).faults)
    assert caught > 0.9 * clear > 15


def test_the_closed_form_is_the_least_of_many_heights():

    for seed in range(60):
        scene = small_scene(seed)
        if not scene.wall:
            continue
        low, high = scene.ranges.T
        states = low + np.random.default_rng(seed).random((4000, 5)) * (high - low)
        least = np.abs(heights(scene, states)).min()
        truth = wall_truth(scene)
        assert truth <= least + 1e-9
        assert least - truth < 0.1 * np.abs(heights(scene, states)).max() + 1e-9, "4000 poses come near it"
