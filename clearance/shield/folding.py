"""A line of straight stretches about a section made fit for folding: as near as it may be, no face too narrow."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from clearance.frames import Array
from clearance.shield.section import STEP_MM, Section

LEAST_FACE_MM = 10.0
"""Narrower faces between two folds are not bent on a hand brake (common practice)."""

LEAST_TURN_RAD = np.radians(4.0)
"""Folds of less are left out where that is allowed."""


def drawn_in(section: Section, corners: Array, standoff_mm: float, least_mm: float) -> Array:
    """Move every straight stretch in until it is as near as it may be, unless that would be too near elsewhere."""
    drawn = corners.copy()
    for i in range(1, len(corners) - 2):
        near = nearest_on(section, drawn[i : i + 2])
        spare = near - (standoff_mm if near >= standoff_mm else least_mm)
        if spare <= 0:
            continue
        moved = _meeting(drawn, i, spare * _inward(section, *drawn[i : i + 2]))
        if moved is None:
            continue
        trial = np.concatenate([drawn[:i], moved, drawn[i + 2 :]])
        if all(
            nearest_on(section, trial[k : k + 2])
            >= (standoff_mm if nearest_on(section, drawn[k : k + 2]) >= standoff_mm else least_mm)
            for k in (i - 1, i, i + 1)
        ):
            drawn = trial
    return drawn


def foldable(section: Section, corners: Array, standoff_mm: float, least_mm: float) -> Array:
    """Leave out folds that hardly turn and faces too narrow, where the line keeps its standoff without them.

    That is the wished one where it is kept, else the least; nor may more of it lie in what is taken.
    """
    found = corners
    while (shorter := _one_less(section, found, standoff_mm, least_mm)) is not None:
        found = shorter
    return found


def _one_less(section: Section, corners: Array, standoff_mm: float, least_mm: float) -> Array | None:
    reach = standoff_mm, least_mm
    way = np.diff(corners, axis=0)
    size = np.linalg.norm(way, axis=1)
    turn = np.abs(np.arctan2(way[:-1, 0] * way[1:, 1] - way[:-1, 1] * way[1:, 0], (way[:-1] * way[1:]).sum(axis=1)))
    for i in range(1, len(corners) - 1):
        if turn[i - 1] < LEAST_TURN_RAD and _allowed(section, corners[i - 1 : i + 2], corners[:0], reach):
            return np.delete(corners, i, axis=0)
    for i in range(1, len(corners) - 2):
        if size[i] < LEAST_FACE_MM:
            ends = corners[i : i + 2]
            for instead in (ends[:1], ends[1:], ends.mean(axis=0)[None]):
                if _allowed(section, corners[i - 1 : i + 3], instead, reach):
                    return np.concatenate([corners[:i], instead, corners[i + 2 :]])
    return None


def _allowed(section: Section, before: Array, instead: Array, reach: tuple[float, float]) -> bool:
    """Tell whether the corners between the first and the last of `before` may be replaced by `instead`."""
    after = np.concatenate([before[:1], instead, before[-1:]])
    standoff_mm, least_mm = reach
    near = nearest_on(section, before)
    if nearest_on(section, after) < (standoff_mm if near >= standoff_mm else min(least_mm, near)):
        return False
    return _taken_mm(section, after) <= _taken_mm(section, before) + STEP_MM


def _inward(section: Section, a: Array, b: Array) -> Array:
    way = (b - a) / max(float(np.linalg.norm(b - a)), 1e-9)
    inward = np.array([-way[1], way[0]])
    turned: Array = inward * (np.sign(float(inward @ (section.middle - a))) or 1.0)
    return turned


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


def nearest_on(section: Section, corners: Array) -> float:
    """Return how near the line through (k, 2) corners comes to the part's shadow, mm (lower bound)."""
    return float(section.away_mm[section.cell(_along(corners))].min())


def _taken_mm(section: Section, corners: Array) -> float:
    return float(section.taken[section.cell(_along(corners))].sum()) * STEP_MM


def _along(corners: Array) -> Array:
    """Places on the line, at most `STEP_MM` apart."""
    parts = [
        a + np.linspace(0.0, 1.0, int(np.linalg.norm(b - a) / STEP_MM) + 2)[:, None] * (b - a)
        for a, b in pairwise(corners)
    ]
    return np.concatenate(parts)
