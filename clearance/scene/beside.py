"""Scan points that a moving zone's place cuts off from it: what hangs together may move together."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearance.frames import Array, unit_vector
from clearance.job.motions import Travel
from clearance.job.schema import Zone as ZoneTable
from clearance.scene.scan import Scan

ANY_MM, OUTER_MM = 50.0, 200.0
"""Points farther than this from a zone's own are not looked at; the second beside the outer end of what swings, where
little else is fixed and a tip cut off goes on."""

HOP_SPACINGS, HOP_MM = 3.0, 3.0
"""Neighbours hang together over so many times their spacing, and over so many mm."""

OUTER = 0.5
"""The outer end is what lies farther from the line of the swing than this share of the zone's farthest point."""

CATCH_ALL = 0.5
"""A place that holds more than this share of the zone's own points as well tells nothing of those beside it."""

Mask = NDArray[np.bool_]


def moves_by_itself(table: ZoneTable) -> bool:
    """Tell whether a zone has a motion of its own besides its carrier's."""
    return table.travel is not None or table.stroke is not None or table.rides not in ("chassis", "engine")


def beside_mm(table: ZoneTable) -> float:
    """Return how far from a moving zone's points others are looked at."""
    return OUTER_MM if _swings(table) else ANY_MM


def _swings(table: ZoneTable) -> bool:
    """Tell whether a zone swings about a line of its carrier; a shaft between two carriers does not."""
    return table.travel is not None and table.rides in ("chassis", "engine")


def beside_of(table: ZoneTable, scan: Scan, mask: Mask, others: Iterable[Mask], told: Mask) -> Array:
    """Return the (b, 3) scan points, mm, that hang together with a zone's own and that nothing else explains.

    Parameters
    ----------
    mask : (n,) bool
        Scan points in the zone's place.
    others : iterable of (n,) bool
        Scan points in every other place that the job describes by a shape: what lies there is told, unless the place
        holds this zone too.
    told : (n,) bool
        Scan points that are told by something else.
    """
    own = mask & ~scan.stray
    free = ~mask & ~scan.stray & ~told
    for other in others:
        if np.count_nonzero(other & own) <= CATCH_ALL * np.count_nonzero(own):
            free &= ~other
    seeds, left = scan.points[own], np.flatnonzero(free)
    found = _joined(scan, seeds, left, ANY_MM)
    if table.travel is not None and _swings(table) and len(seeds):
        radii = _radii_mm(table.travel, seeds)
        outer = OUTER * float(radii.max())
        there = left[_radii_mm(table.travel, scan.points[left]) > outer]
        found = np.union1d(found, _joined(scan, seeds[radii > outer], there, OUTER_MM))
    return scan.points[found]


def _joined(scan: Scan, seeds: Array, left: NDArray[np.int64], within_mm: float) -> NDArray[np.int64]:
    """Return those of the scan points `left`, by number, within a distance of `seeds` that hang together with them."""
    if not len(seeds) or not len(left):
        return left[:0]
    low, high = seeds.min(axis=0) - within_mm, seeds.max(axis=0) + within_mm
    left = left[((scan.points[left] >= low) & (scan.points[left] <= high)).all(axis=1)]
    hop = np.maximum(HOP_SPACINGS * scan.spacing_mm[left].astype(np.float64), HOP_MM)
    away = _away_mm(scan.points[left], seeds, within_mm)
    near = away <= within_mm
    left, hop, away = left[near], hop[near], away[near]
    reached = np.zeros(len(left), dtype=bool)
    front = away <= hop
    while front.any():
        reached |= front
        rest, last = np.flatnonzero(~reached), scan.points[left[front]]
        front = np.zeros(len(left), dtype=bool)
        front[rest] = _away_mm(scan.points[left[rest]], last, float(hop.max())) <= hop[rest]
    return left[reached]


def _away_mm(points: Array, others: Array, most_mm: float) -> Array:
    """Return the distance, (n,) mm, of each point to the nearest of the others; infinite beyond `most_mm`."""
    tree = cKDTree(others, balanced_tree=False, compact_nodes=False)
    return np.asarray(tree.query(points, distance_upper_bound=np.nextafter(most_mm, np.inf), workers=-1)[0], np.float64)


def _radii_mm(travel: Travel, points: Array) -> Array:
    """Return the distance, (n,) mm, of points from the line that a zone swings about."""
    away, direction = points - np.array(travel.about), unit_vector(travel.axis)
    radii: Array = np.linalg.norm(away - np.outer(away @ direction, direction), axis=1)
    return radii
