"""Surface that is missing between two rims which face each other: holes, drop-outs, a stretch cut out of a rail.

From each rim a probe goes on along the surface, as the surface would. Where it meets surface again that
is itself a rim facing back and lies the same way, what lies between is missing. A silhouette, or the outer
rim of a scan, faces nothing and says nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import IntArray
from clearance.scene.neighbours import Neighbours
from clearance.unseen.rims import Rims

SMALLEST_MM = 8.0
"""Holes into which no ball of this diameter fits are not looked at."""

WIDEST_MM = 200.0
"""Rims farther apart than this are taken for two things."""

DRIFT = 0.1
"""What a probe may go astray, as a share of its way, for the rim's direction is not known better."""

FAN_RAD = (-0.6, 0.0, 0.6)
"""Probes go on aslant too, in the surface: rims of a notch in an edge face the open side, not each other."""

FACING, ALIKE, IN_PLANE = 0.7, 0.85, 0.4
"""Cosines: least of each rim's direction and the way to the other, least of the two surfaces' normals, and most of
a normal and that way."""

STEP_MM = 2.0
"""Places on a missing stretch are this far apart at most."""

MOST_STEPS = 60
RIMS_AT_END = 6


@dataclass(frozen=True, eq=False)
class Gaps:
    """Places on missing surface.

    Attributes
    ----------
    places : (n, 3) float64, mm
    radius_mm : (n,) float64
        Distance of each to the nearest scan point.
    rim : (n, 3) float64, mm
        The rim point it was found from.
    normals : (n, 3) float64
        Of that rim, unit, either side.
    """

    places: Array
    radius_mm: Array
    rim: Array
    normals: Array


def find_gaps(rims: Rims, tree: Neighbours) -> Gaps:
    """Return the places between facing `rims` that are farther from every scan point than the spacing explains.

    `tree` holds the scan points. A place counts if a ball of `SMALLEST_MM`, and of twice the local
    spacing, fits there.
    """
    start, end = _facing(rims, tree)
    way = rims.points[end] - rims.points[start]
    length = np.linalg.norm(way, axis=1)
    count = np.maximum(np.ceil(length / STEP_MM).astype(np.int64) - 1, 1)
    owner = np.repeat(np.arange(len(start)), count)
    number = np.arange(len(owner)) - np.repeat(np.cumsum(count) - count, count) + 1
    places = rims.points[start[owner]] + (number / (count[owner] + 1))[:, None] * way[owner]
    radius = tree.nearest(places, 2)[0][:, 0] if len(places) else np.zeros(0)
    spacing = np.maximum(rims.spacing_mm[start], rims.spacing_mm[end])[owner]
    kept = np.flatnonzero(radius > np.maximum(SMALLEST_MM / 2, spacing))
    from_rim = start[owner[kept]]
    return Gaps(places[kept], radius[kept], rims.points[from_rim], rims.normals[from_rim])


def _facing(rims: Rims, tree: Neighbours) -> tuple[IntArray, IntArray]:
    """Return pairs of rim points that face each other across nothing."""
    start, met, at = _probe(rims, tree)
    if not len(start) or len(rims.points) <= RIMS_AT_END:
        return start[:0], start[:0]
    spacing = rims.spacing_mm[start]
    distance, near = Neighbours(rims.points).nearest(at, RIMS_AT_END)
    way = rims.points[near] - rims.points[start][:, None]
    length = np.maximum(np.linalg.norm(way, axis=2, keepdims=True), 1e-9)
    way = way / length
    faces_back = np.einsum("nki,nki->nk", rims.outward[near], way) < -FACING
    faces_it = np.einsum("ni,nki->nk", rims.outward[start], way) > FACING
    alike = np.abs(np.einsum("nki,ni->nk", rims.normals[near], rims.normals[start])) > ALIKE
    flat = np.abs(np.einsum("nki,ni->nk", way, rims.normals[start])) < IN_PLANE
    flat &= np.abs(np.einsum("nki,nki->nk", way, rims.normals[near])) < IN_PLANE
    close = distance < _stray_mm(met, spacing)[:, None] + 2 * spacing[:, None]
    good = faces_back & faces_it & alike & flat & close
    pick = np.argmax(good, axis=1)
    sure = good.any(axis=1)
    return start[sure], near[sure, pick[sure]]


def _stray_mm(gone: Array, spacing: Array) -> Array:
    """Distance to a scan point, mm, at which a probe that has gone so far has met the surface."""
    return 1.2 * spacing + DRIFT * gone


def _probe(rims: Rims, tree: Neighbours) -> tuple[IntArray, Array, Array]:
    """Go from every rim along its outward direction, and aslant of it, until scan points are met.

    Returns the rims whose probe met some beyond its own rim, how far each went, mm, and where it ended, (n, 3).
    """
    along = np.cross(rims.normals, rims.outward)
    ways = np.concatenate([np.cos(turn) * rims.outward + np.sin(turn) * along for turn in FAN_RAD])
    rim = np.tile(np.arange(len(rims.points), dtype=np.int64), len(FAN_RAD))
    start, spacing = rims.points[rim], rims.spacing_mm[rim]
    alive = np.arange(len(rim), dtype=np.int64)
    gone = 1.5 * spacing
    hits: list[IntArray] = []
    for _ in range(MOST_STEPS):
        at = start[alive] + gone[alive, None] * ways[alive]
        away = tree.nearest(at, 2)[0][:, 0] if len(alive) else np.zeros(0)
        limit = _stray_mm(gone[alive], spacing[alive])
        met = away < limit
        hits.append(alive[met & (gone[alive] + limit > SMALLEST_MM)])
        step = np.maximum(away - limit, 0.5 * spacing[alive])
        gone[alive[~met]] += step[~met]
        alive = alive[~met & (gone[alive] < WIDEST_MM)]
    hit = np.concatenate(hits)
    return rim[hit], gone[hit], start[hit] + gone[hit, None] * ways[hit]
