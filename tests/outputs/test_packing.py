"""Packed numbers come back, decoded here from their description alone."""

from __future__ import annotations

import base64
import zlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from clearance.outputs.packing import NOTHING, near_order, pack, pack_faces, pack_lengths, pack_points


def unpacked(packed: dict) -> np.ndarray:
    """Decode byte planes, zigzag and differences, (n, k)."""
    raw = np.frombuffer(zlib.decompress(base64.b64decode(packed["data"])), np.uint8).astype(np.int64)
    planes = raw.reshape(packed["planes"], packed["k"], packed["n"])
    code = sum(plane << (8 * i) for i, plane in enumerate(planes))
    steps = np.where(code % 2, -(code + 1) // 2, code // 2)
    return (np.cumsum(steps, axis=1) if packed["differences"] else steps).T


@given(st.lists(st.integers(-(2**28), 2**28), max_size=40), st.booleans())
def test_whole_numbers_come_back(values: list[int], differences: bool):
    table = np.array(values, np.int64).reshape(-1, 1)
    packed = pack(table, differences=differences)
    assert (packed["n"], packed["k"]) == (len(values), 1)
    assert unpacked(packed).ravel().tolist() == values


def test_places_come_back_to_half_a_step():
    rng = np.random.default_rng(1)
    points, origin = rng.normal(0, 400, (5000, 3)) + 2000, np.array([2000.0, 1990.0, 2010.0])
    packed = pack_points(points, origin, 0.01)
    assert np.abs(unpacked(packed) * 0.01 + origin - points).max() <= 0.005 + 1e-9


def test_lengths_keep_what_is_not_a_number():
    packed = pack_lengths([1.0, np.nan, -2.53, np.inf], 0.02)
    assert unpacked(packed).ravel().tolist()[:3] == [50, NOTHING, -126]


def test_corners_come_back():
    faces = np.array([[0, 2, 1], [0, 3, 2], [5, 7, 900]])
    told = unpacked(pack_faces(faces))
    first = np.cumsum(told[:, 0])
    assert np.array_equal(np.column_stack([first, first + told[:, 1], first + told[:, 2]]), faces)


def test_neighbours_in_the_order_are_near_each_other():
    rng = np.random.default_rng(2)
    points = rng.uniform(0, 100, (4000, 3))
    order = near_order(points)
    assert np.array_equal(np.sort(order), np.arange(4000))
    steps = np.linalg.norm(np.diff(points[order], axis=0), axis=1)
    # At random they are 66 mm apart on average (mean distance in a cube of side 100 mm: 0.6617 sides, Robbins 1978).
    assert steps.mean() < 15.0


@pytest.mark.parametrize("count", [0, 1])
def test_nothing_and_one_place(count: int):
    points = np.ones((count, 3))
    assert unpacked(pack_points(points, np.zeros(3), 0.5)).tolist() == [[2, 2, 2]] * count
    assert len(near_order(points)) == count
