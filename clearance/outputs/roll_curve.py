"""Clearance against the engine's roll: the band that the certificate proves, ready to be drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from clearance.frames import Array
from clearance.motion.pair import PairMotion
from clearance.motion.result import MotionState, Sweep
from clearance.units import degrees
from clearance.verdict.result import ZoneResult

STEPS = 64
"""Intervals of the upper edge between the lowest and highest roll."""


@dataclass(frozen=True, eq=False, kw_only=True)
class RollCurve:
    """Bounds of the least clearance at each roll, over all other motions.

    Attributes
    ----------
    edges_deg : (k + 1,) float64, ascending
        Ends of the stretches of roll of the lower edge.
    lower_mm : (k,) float64
        Over each stretch the clearance is proven to be no less.
    roll_deg, upper_mm : (n,) float64
        At each of these rolls a pose is known with a clearance no more than that.
    """

    edges_deg: Array
    lower_mm: Array
    roll_deg: Array
    upper_mm: Array


def roll_curve(zone: ZoneResult, motion: PairMotion) -> RollCurve | None:
    """Return the curve of a zone, with the part grown as at its worst; None where roll is not an angle of its sweep.

    The lower edge is read from the certificate's cells. The upper edge is the distance of the two places
    that come nearest at the worst pose, as roll carries them, at the best corner of the other motions: no
    clearance of the bodies is more than the distance of two places on them.
    """
    sweep = zone.sweep
    rock = motion.rock
    if "roll" not in sweep.angles or rock is None or rock.roll_rad[1] <= rock.roll_rad[0]:
        return None
    edges, lower = _lower_edge(sweep)
    rolls = np.linspace(*rock.roll_rad, STEPS + 1)
    worst = sweep.worst.roll_rad
    rolls = np.unique(np.append(rolls, [] if worst is None else [worst]))
    upper = np.array([_witnessed(sweep, motion, float(roll)) for roll in rolls]) + zone.zone.facet_mm
    return RollCurve(
        edges_deg=np.degrees(edges), lower_mm=lower, roll_deg=np.degrees(rolls), upper_mm=np.maximum(upper, lower.min())
    )


def _lower_edge(sweep: Sweep) -> tuple[Array, Array]:
    """Return the ends of the cells in roll, (k + 1,) rad, and the least bound between each two, (k,) mm."""
    axis, count = sweep.angles.index("roll"), len(sweep.angles)
    low, high, bound = sweep.cells[:, axis], sweep.cells[:, count + axis], sweep.cells[:, -1]
    edges = np.unique(np.concatenate([low, high]))
    lower = np.full(len(edges) - 1, math.inf)
    first, last = np.searchsorted(edges, low), np.searchsorted(edges, high)
    for start, stop, mm in zip(first, last, bound, strict=True):
        np.minimum(lower[start:stop], mm, out=lower[start:stop])
    return edges, lower


def _witnessed(sweep: Sweep, motion: PairMotion, roll_rad: float) -> float:
    """Return the least distance, mm, of the two nearest places at a roll, over the corners of the other motions."""
    corners = [dict(zip(("lift_mm", "shift_mm"), ends, strict=True)) for ends in product(*_straight(motion))]
    states = [replace(sweep.worst, roll_rad=roll_rad)]
    states += [replace(sweep.worst, roll_rad=roll_rad, **ends) for ends in corners]
    return min(_apart(sweep, motion, state) for state in states)


def _straight(motion: PairMotion) -> tuple[tuple[float, float], tuple[float, float]]:
    assert motion.rock is not None
    return motion.rock.lift_mm, motion.rock.shift_mm


def _apart(sweep: Sweep, motion: PairMotion, state: MotionState) -> float:
    part, zone = motion.poses(state)
    return float(np.linalg.norm(part.apply(sweep.on_part) - zone.apply(sweep.on_zone)))


def at_rest_deg(curve: RollCurve) -> float:
    """Return the roll of the neutral pose, degrees: it is part of every range."""
    return min(max(0.0, float(curve.edges_deg[0])), float(curve.edges_deg[-1]))


def worst_deg(zone: ZoneResult) -> float:
    """Return the roll of the worst pose, degrees."""
    return degrees(zone.sweep.worst.roll_rad or 0.0)
