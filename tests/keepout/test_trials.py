"""Small parts set against keep-outs from outside pass; against a keep-out drawn too small they do not."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "scripts"))
import keepout_trials

from clearance.distance.body import mesh_body
from clearance.distance.fcl_engine import FclBody
from clearance.distance.inside import unsigned_distance
from clearance.keepout import keepout as keepout_module
from clearance.keepout.blockers import Blocker
from clearance.layout.placement import place


@pytest.mark.parametrize("seed", [0, 1, 3, 5])
def test_every_part_outside_passes(tmp_path, seed):
    failed, asked, told = keepout_trials.trial(tmp_path, seed, 5)
    assert asked == 5, told
    assert failed == []


def test_the_trials_notice_a_keep_out_that_is_too_small(tmp_path, monkeypatch):
    real = keepout_module.blockers_of

    def smaller(*arguments) -> tuple[Blocker, ...]:
        return tuple(replace(b, more_mm=b.more_mm - 2.5) for b in real(*arguments))

    monkeypatch.setattr(keepout_module, "blockers_of", smaller)
    failed, asked, _ = keepout_trials.trial(tmp_path, 1, 6)
    assert asked == 6
    assert failed


def test_parts_are_set_within_a_hair_of_the_solid(tmp_path):
    rng = np.random.default_rng(1)
    job, _, _ = keepout_trials.random_job(tmp_path, rng)
    found = keepout_module.keep_out_of(place(job), resolution_mm=5.0)
    part = keepout_trials.part_outside(found, FclBody(mesh_body(found.mesh)), rng)
    assert unsigned_distance(part, found.mesh.vertices)[0].min() < 3.0
