"""Cubes against a plain dictionary."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from clearance.scene.cubes import cubes


@given(st.integers(0, 10_000), st.floats(0.1, 50), st.sampled_from([1.0, 100.0, 4e9]))
def test_same_cube_same_group(seed: int, side: float, scale: float):
    points = np.random.default_rng(seed).uniform(-scale, scale, (60, 3))
    first, group = cubes(points, side)
    wanted: dict[tuple, list[int]] = {}
    for i, place in enumerate(np.floor((points - points.min(axis=0)) / side)):
        wanted.setdefault(tuple(place), []).append(i)
    assert len(first) == len(wanted)
    for members in wanted.values():
        assert len(set(group[members])) == 1
        assert first[group[members[0]]] == members[0]


def test_no_points():
    first, group = cubes(np.zeros((0, 3)), 1.0)
    assert len(first) == len(group) == 0
