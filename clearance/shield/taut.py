"""The line that a sheet takes round a section: pulled taut about the part, inside of what the zones take.

Taut, it bends one way only unless a zone presses it in, and bridges every hollow. It keeps the wished standoff where
there is room, between that and the least one where there is not, and is never nearer.
"""

from __future__ import annotations

from itertools import product
from math import gcd

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import dijkstra

from clearance.frames import Array
from clearance.shield.folding import drawn_in, foldable
from clearance.shield.section import STEP_MM, Section

GRID = 2
"""Cells between two nodes of the graph on which the line is found."""

SAG_MM = 2.0
"""By so much the line is first laid farther out than it must be: its straight stretches may cut that corner."""

SQUEEZED, TAKEN, NOWHERE = 4.0, 200.0, 1e6
"""What a mm costs nearer than the wished standoff, in what zones take, and nearer than the least one."""

STRIDE = 2
"""Of the nodes of the line every so many is tried as a corner."""

_STEPS = [(i, j) for i, j in product(range(-3, 4), repeat=2) if gcd(i, j) == 1 and (i, j) > (0, 0)]


def taut(section: Section, standoff_mm: float, least_mm: float, back: Array) -> Array:
    """Return the corners of the line, (k, 2) mm, once round the part from the direction `back` and to there again.

    The shortest way over a graph with steps in 32 directions, weighted where it is squeezed; then with as few corners
    as keep the same standoff (`SAG_MM` less) and no more of what is taken, drawn in to where it may be, and without
    faces too narrow to fold.
    """
    way = _shortest(section, standoff_mm, least_mm, back)
    drawn = drawn_in(section, _fewest_corners(section, way, standoff_mm, least_mm), standoff_mm, least_mm)
    return foldable(section, drawn, standoff_mm, least_mm)


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
    beside = 1.5 * GRID * STEP_MM
    toll, beyond = cost[tuple(np.moveaxis(index, -1, 0))], (along > 0) & (np.abs(across) < beside)
    free = beyond & (along > along[beyond & (toll >= NOWHERE)].max(initial=0.0))
    free &= toll == toll[free].min()
    one, other = (int(number[free & side][np.argmin(along[free & side])]) for side in (across < 0, across >= 0))
    _, before = dijkstra(graph, directed=False, indices=np.array([one]), return_predecessors=True)
    way, at = [], other
    while at >= 0:
        way.append(places.reshape(-1, 2)[at])
        at = int(before[0, at])
    return np.array(way)


def _fewest_corners(section: Section, way: Array, standoff_mm: float, least_mm: float) -> Array:
    """Go from each corner straight to the farthest point of the line to which that is allowed."""
    cell = section.cell(way)
    squeezed, taken = section.away_mm[cell] < standoff_mm, section.taken[cell]
    corners, at = [0], 0
    while at < len(way) - 1:
        for far in (*range(min(at + len(way) // 2, len(way) - 1), at + 1, -STRIDE), at + 1):
            reach = least_mm if squeezed[at : far + 1].any() else standoff_mm
            parts = int(np.linalg.norm(way[far] - way[at]) / STEP_MM) + 2
            on = section.cell(way[at] + np.linspace(0.0, 1.0, parts)[:, None] * (way[far] - way[at]))
            if far == at + 1 or (
                section.away_mm[on].min() >= reach and section.taken[on].mean() <= taken[at : far + 1].mean()
            ):
                break
        corners.append(far)
        at = far
    return way[corners]
