"""The line that a sheet takes round a section: pulled taut about the part, inside of what the zones take.

Taut, it bends one way only unless a zone presses it in, and bridges every hollow. It keeps the wished standoff where
there is room, between that and the least one where there is not, and is never nearer.
"""

from __future__ import annotations

from itertools import product
from math import gcd

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from clearance.frames import Array
from clearance.shield.section import STEP_MM, Section

GRID = 2
"""Cells between two nodes of the graph on which the line is found."""

SAG_MM = 2.0
"""By so much the line is first laid farther out than it must be: its straight stretches may cut that corner."""

SQUEEZED, TAKEN, NOWHERE = 4.0, 200.0, 1e6
"""What a mm costs nearer than the wished standoff, in what zones take, and nearer than the least one."""

_STEPS = [(i, j) for i, j in product(range(-3, 4), repeat=2) if gcd(i, j) == 1 and (i, j) > (0, 0)]


def taut(section: Section, standoff_mm: float, least_mm: float, back: Array) -> Array:
    """Return the corners of the line, (k, 2) mm, once round the part from the direction `back` and to there again.

    The shortest way over a graph with steps in 32 directions, weighted where it is squeezed, then with as few corners
    as keep the same standoff (`SAG_MM` less) and no more of what is taken.
    """
    way = _shortest(section, standoff_mm, least_mm, back)
    return _drawn_in(section, _fewest_corners(section, way, standoff_mm, least_mm), standoff_mm, least_mm)


def _cost(section: Section, standoff_mm: float, least_mm: float) -> Array:
    away = section.away_mm - SAG_MM
    cost: Array = np.where(away >= standoff_mm, 1.0, SQUEEZED)
    cost[section.taken] = TAKEN
    cost[away < least_mm] = NOWHERE
    return cost


def _shortest(section: Section, standoff_mm: float, least_mm: float, back: Array) -> Array:
    cost = _cost(section, standoff_mm, least_mm)
    index = np.stack(np.meshgrid(*(np.arange(0, n, GRID) for n in cost.shape), indexing="ij"), axis=-1)
    shape, count = index.shape[:2], index.shape[0] * index.shape[1]
    places = section.low + STEP_MM * index
    number = np.arange(count).reshape(shape)
    across = (places - section.middle) @ np.array([-back[1], back[0]])
    along = (places - section.middle) @ back
    starts, ends, lengths = [], [], []
    for i, j in _STEPS:
        a = (slice(max(0, -i), shape[0] - max(0, i)), slice(max(0, -j), shape[1] - max(0, j)))
        b = (slice(max(0, i), shape[0] - max(0, -i)), slice(max(0, j), shape[1] - max(0, -j)))
        first, last = index[a], index[b]
        tolls = [cost[tuple(np.moveaxis((first * (4 - k) + last * k) // 4, -1, 0))] for k in range(5)]
        crosses = ((across[a] < 0) != (across[b] < 0)) & (along[a] + along[b] > 0)
        kept = ~crosses & (np.maximum.reduce(tolls) < NOWHERE)
        starts.append(number[a][kept])
        ends.append(number[b][kept])
        lengths.append(np.mean(tolls, axis=0)[kept] * np.hypot(i, j) * GRID * STEP_MM)
    graph = coo_matrix(
        (np.concatenate(lengths), (np.concatenate(starts), np.concatenate(ends))), shape=(count, count)
    ).tocsr()
    beside = GRID * STEP_MM
    free = (cost[tuple(np.moveaxis(index, -1, 0))] < NOWHERE) & (along > 0) & (np.abs(across) < beside)
    one, other = _nearest(free & (across < 0), along, number), _nearest(free & (across >= 0), along, number)
    _, before = dijkstra(graph, directed=False, indices=one, return_predecessors=True)
    way, at = [], other
    while at >= 0:
        way.append(places.reshape(-1, 2)[at])
        at = int(before[at])
    return np.array(way)


def _nearest(free: NDArray[np.bool_], along: Array, number: NDArray[np.int64]) -> int:
    """The free node beside the cut that is nearest to the part without anything of it farther out."""
    return int(number[free][np.argmin(along[free])])


def _fewest_corners(section: Section, way: Array, standoff_mm: float, least_mm: float) -> Array:
    """Go from each corner straight to the farthest point of the line to which that is allowed."""
    cell = section.cell(way)
    squeezed, taken = section.away_mm[cell] < standoff_mm + SAG_MM / 2, section.taken[cell]
    corners, at = [0], 0
    while at < len(way) - 1:
        for far in range(min(at + len(way) // 2, len(way) - 1), at, -1):
            if far == at + 1:
                break
            reach = least_mm if squeezed[at : far + 1].any() else standoff_mm
            parts = int(np.linalg.norm(way[far] - way[at]) / STEP_MM) + 2
            on = section.cell(way[at] + np.linspace(0.0, 1.0, parts)[:, None] * (way[far] - way[at]))
            if section.away_mm[on].min() >= reach and section.taken[on].mean() <= taken[at : far + 1].mean():
                break
        corners.append(far)
        at = far
    return way[corners]


def _drawn_in(section: Section, corners: Array, standoff_mm: float, least_mm: float) -> Array:
    """Move every straight stretch in until it is as near as it may be; leave it where that would be nearer elsewhere."""
    drawn = corners.copy()
    for i in range(1, len(corners) - 2):
        a, b = drawn[i], drawn[i + 1]
        way = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
        inward = np.array([-way[1], way[0]])
        inward *= np.sign(float(inward @ (section.middle - a))) or 1.0
        near = _nearest_on(section, a, b)
        spare = near - (standoff_mm if near >= standoff_mm else least_mm)
        for share in (1.0, 0.5):
            moved = _meeting(drawn, i, share * spare * inward)
            before = [_nearest_on(section, drawn[k], drawn[k + 1]) for k in (i - 1, i, i + 1)]
            if spare <= 0 or moved is None:
                break
            trial = drawn.copy()
            trial[i : i + 2] = moved
            after = [_nearest_on(section, trial[k], trial[k + 1]) for k in (i - 1, i, i + 1)]
            allowed = [standoff_mm if near >= standoff_mm else least_mm for near in before]
            if all(x >= y for x, y in zip(after, allowed, strict=True)):
                drawn = trial
                break
    return drawn


def _meeting(corners: Array, i: int, shift: Array) -> Array | None:
    """Where stretch i, moved by `shift`, meets the ones before and after, (2, 2); None where that is not on them."""
    a, b, found = corners[i] + shift, corners[i + 1] + shift, []
    for p, q in ((corners[i - 1], corners[i]), (corners[i + 1], corners[i + 2])):
        sides = np.stack([b - a, p - q], axis=1)
        if abs(np.linalg.det(sides)) < 1e-6 * np.linalg.norm(b - a) * np.linalg.norm(p - q):
            return None
        _, share = np.linalg.solve(sides, p - a)
        if not 0.0 <= share <= 1.0:
            return None
        found.append(p + share * (q - p))
    return np.array(found)


def _nearest_on(section: Section, a: Array, b: Array) -> float:
    parts = int(np.linalg.norm(b - a) / STEP_MM) + 2
    return float(section.away_mm[section.cell(a + np.linspace(0.0, 1.0, parts)[:, None] * (b - a))].min())
