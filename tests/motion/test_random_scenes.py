"""Two thousand random scenes: the sweep's answer must hold the truth in every one. See helpers/scenes.py for why."""

from __future__ import annotations

from collections import Counter

import pytest
from scenes import judge, random_scene

BATCH = 50


@pytest.mark.parametrize("batch", range(40))
def test_the_bound_holds(batch, record_property):
    told: Counter[str] = Counter()
    for seed in range(batch * BATCH, (batch + 1) * BATCH):
        try:
            told[judge(random_scene(seed), seed)] += 1
        except Exception as fault:
            fault.add_note(f"scene {seed}: python scripts/soak.py --seed {seed} --count 1")
            raise
    record_property("told", dict(told))
    assert min(told["clear"], told["interfering"]) > 2, f"scenes too much alike: {told}"
