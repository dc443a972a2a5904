"""The bound of a pair over its motion: a search, and where that would not end, arcs.

A search by how far anything can move explodes where the clearance hardly changes along an angle or along
both: a bar over an arm that turns about its own axis. Arcs bound all angles at once, and prove it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from clearance.bounds import Bound
from clearance.frames import Array
from clearance.motion.arcs import clear_by
from clearance.motion.bodies import Near, shared_arms
from clearance.motion.branch import TOUCH_MM, Known, Minimum
from clearance.motion.pair import PairMotion
from clearance.motion.posed import PlacedBodies, RebuiltZone

FIRST = 300
"""Looks of a search before arcs are tried; most searches need 30."""

SHARES = (1.0, 0.4, 0.125)
"""How fine arcs are made, first and then: as if for such a share of the tolerance."""

FINEST = 1e-4
"""Step, as a share of the range, at which going downhill stops."""

MOST_STEPS = 30
"""Steps towards touching; each about squares a small distance where surfaces cross."""

SLOPE_SHARE = 0.01
"""Distance over which a slope is measured, as a share of the clearance."""

MOST_CELLS = 2000
"""Cells of a certificate; more are joined to one, for which the least of their bounds holds."""


def bounded(motion: PairMotion, near: Near, bodies: PlacedBodies | RebuiltZone, tolerance_mm: float) -> Minimum:
    """Return the bound of the smallest clearance over the box of angles, `tolerance_mm` wide where that can be had."""
    first = min(FIRST, 2 * bodies.most_evaluations // 3)
    found = bodies.search(tolerance_mm, first)
    if _settled(found, bodies, tolerance_mm, first):
        return found
    best, lower, upper, asked = found.best, found.bound.lower, found.bound.upper, found.evaluations
    if lower <= 0:
        best, upper, steps = _towards_touching(bodies, motion, best, upper, shared_arms(motion, near.part, near.zone))
        asked += steps
    if upper <= TOUCH_MM + bodies.excess_mm:
        return Minimum(bound=Bound(min(lower, upper), upper), best=best, cells=found.cells, evaluations=asked)
    best, upper, steps = _downhill(bodies, motion, best, upper)
    asked += steps
    for share in SHARES:
        if upper > TOUCH_MM + bodies.excess_mm and upper - lower > tolerance_mm:
            lower = max(lower, clear_by(motion, near, upper, tolerance_mm * share))
    known = Known(min(lower, upper), upper, best)
    if upper - known.lower_mm <= tolerance_mm and known.lower_mm > 0:
        cells = _one_cell(motion, known.lower_mm)
        return Minimum(bound=Bound(known.lower_mm, upper), best=best, cells=cells, evaluations=asked)
    found = bodies.search(tolerance_mm, bodies.most_evaluations, known)
    cells = found.cells if len(found.cells) <= MOST_CELLS else _one_cell(motion, float(found.cells[:, -1].min()))
    return replace(found, cells=cells, evaluations=asked + found.evaluations)


def _settled(found: Minimum, bodies: PlacedBodies | RebuiltZone, tolerance_mm: float, first: int) -> bool:
    """Tell whether a search ended by itself."""
    return (
        found.evaluations < first
        or (found.bound.lower > 0 and found.bound.upper - found.bound.lower <= tolerance_mm)
        or found.bound.upper <= TOUCH_MM + bodies.excess_mm
    )


def _towards_touching(
    bodies: PlacedBodies | RebuiltZone, motion: PairMotion, best: Array, least: float, arms: Array
) -> tuple[Array, float, int]:
    """Return angles of a smaller clearance by Newton's steps to 0, that clearance, mm, and the distances asked for.

    Where surfaces cross the clearance is the size of a smooth function with a root, and a search that
    halves cells ends late: points pass a surface on a line of angles, and touch on no area of them.
    """
    asked, arms = 0, np.maximum(arms, 1.0)
    for _ in range(MOST_STEPS):
        if least <= TOUCH_MM + bodies.excess_mm:
            break
        change = SLOPE_SHARE * least / arms
        change = np.where(best + change > motion.high, -change, change)
        slope = (np.array([bodies.closest(best + row).distance_mm for row in np.diag(change)]) - least) / (
            change * arms
        )
        asked += len(change)
        if not slope.any():
            break
        step = -least * slope / (slope @ slope) / arms
        for share in 0.25 ** np.arange(5):
            at = np.clip(best + share * step, motion.low, motion.high)
            value = bodies.closest(at).distance_mm
            asked += 1
            if value < least:
                break
        else:
            break
        best, least = at, value
    return best, least, asked


def _downhill(
    bodies: PlacedBodies | RebuiltZone, motion: PairMotion, best: Array, least: float
) -> tuple[Array, float, int]:
    """Return angles with a smaller clearance nearby, that clearance, mm, and the distances asked for."""
    asked = 0
    span = motion.high - motion.low
    step = span / 8
    while (step > FINEST * span).any():
        tries = np.clip(best + np.vstack([np.diag(step), -np.diag(step)]), motion.low, motion.high)
        values = [bodies.closest(at).distance_mm for at in tries]
        asked += len(tries)
        if min(values) < least:
            best, least = tries[int(np.argmin(values))], min(values)
        else:
            step = step / 3
    return best, least, asked


def _one_cell(motion: PairMotion, lower: float) -> Array:
    return np.array([[*motion.low, *motion.high, lower]])
