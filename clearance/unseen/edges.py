"""Where the scanned surface ends so near the part that it may go on, unseen, nearer than a zone needs.

Without stations nobody knows what is free, so from every rim near the part the surface is continued: along
its tangent, or along its own arc where it bends away from the part, by up to the clearance that the zone of
the rim needs, and with things standing out of a flat one by up to 15 mm. Such a place is taken for free only
where the scan shows something behind it (`clearance.unseen.open_air`), and not even then where other rims
face it from all about: that is a hole.

Not looked for: what bends towards the part beyond its rim, goes on farther than the needed clearance,
stands out farther than that, or stands out of the unseen back of a shaft.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.scene.cubes import cubes
from clearance.scene.mesh import IntArray
from clearance.scene.neighbours import Neighbours
from clearance.unseen.gaps import SMALLEST_MM
from clearance.unseen.holes import STUD_MM, STUD_RADII, TOGETHER_MM, Hole
from clearance.unseen.open_air import seen_past
from clearance.unseen.reach import Owners, Reach
from clearance.unseen.rims import Rims

STEP_MM, STUD_STEP_MM = 2.0, 3.0
"""Steps along the continued surface and out of it; half their diagonal comes off every clearance found at them."""

EMPTY = 0.75
"""No scan point may lie nearer to a place than this share of its way from the rim."""

ASIDE_MM = 15.0
"""What goes on far past its rim is not stopped by scan points this far off."""

BENT_PER_MM = 0.025
"""A surface that bends away from the part more than this (radius 40 mm) goes on along its arc, nothing on it."""

AROUND, AROUND_RADII = 96, 2.5
"""Rims asked whether they surround a place, and within how many of its radii."""

FACES, LEVEL = 0.5, 0.5
"""Least cosine of a rim's direction and the way to the place; most sine of that way over either surface's tangent."""

ALL_ROUND_RAD = np.radians(185.0)
"""A place is surrounded where no wider angle is free of such rims: at a hole over a sharp edge half a turn is."""

BEFORE_HITS = 3.0
"""How far before a rim, in distances at which a line of sight has met the surface, its own surface is asked."""

GRAIN_MM = 3.0
"""Of the places in a cube of this side the one nearest to the part speaks."""


@dataclass(frozen=True, eq=False)
class Beyond:
    """Places on the continued surface that would be too near.

    Attributes
    ----------
    at, normals : (n, 3) float64
        mm, and the surface's unit normals to the part's side.
    rim : (n,) int64
        Number of the rim that each was continued from.
    radius_mm, lower_mm, needed_mm : (n,) float64
        Distance to the nearest scan point, lower bound of the clearance, and what the rim's zone needs.
    owner : (n,) int64
        Zone of the rim.
    """

    at: Array
    normals: Array
    rim: IntArray
    radius_mm: Array
    lower_mm: Array
    needed_mm: Array
    owner: IntArray

    def of(self, chosen: IntArray | NDArray[np.bool_]) -> Beyond:
        """Return the chosen places."""
        return Beyond(
            self.at[chosen], self.normals[chosen], self.rim[chosen], self.radius_mm[chosen], self.lower_mm[chosen],
            self.needed_mm[chosen], self.owner[chosen],
        )  # fmt: skip


def edges_of(
    rims: Rims,
    tree: Neighbours,
    points: Array,
    reach: Reach,
    owners: Owners,
    go_on_mm: Array | None = None,
    seen: Callable[[Array], NDArray[np.bool_]] | None = None,
) -> list[Hole]:
    """Return where the surface behind `rims` may go on nearer to the part than the zone of the rim needs.

    `tree` holds the scan `points`, (n, 3) mm. `go_on_mm`, (r,): how far behind each rim the surface may go on at least;
    where that is above 0, what is seen behind counts only if it is not seen behind the surface before the rim as well.
    `seen` tells which of (n, 3) places some station saw through.
    """
    far_mm = np.zeros(len(rims.points)) if go_on_mm is None else go_on_mm
    beyond = _continued(rims, tree, reach, owners, far_mm)
    if not len(beyond.at):
        return []
    hit_mm = 2 * float(np.median(rims.spacing_mm))
    free = seen_past(beyond.at, beyond.normals, beyond.radius_mm, tree, points, hit_mm)
    asked = np.flatnonzero(free & (far_mm[beyond.rim] > 0))
    free[asked[_seen_before(beyond.of(asked), rims, tree, points, hit_mm)]] = False
    if seen is not None:
        free |= seen(beyond.at)
    free[free] = ~_surrounded(beyond.of(free), rims)
    return _grouped(beyond.of(~free))


def _seen_before(beyond: Beyond, rims: Rims, tree: Neighbours, points: Array, hit_mm: float) -> NDArray[np.bool_]:
    """Tell for which places something is seen behind the surface before their rim: it was seen from elsewhere."""
    before = rims.points[beyond.rim] - BEFORE_HITS * hit_mm * rims.outward[beyond.rim]
    return seen_past(before, beyond.normals, np.full(len(before), BEFORE_HITS * hit_mm), tree, points, hit_mm)


def _continued(rims: Rims, tree: Neighbours, reach: Reach, owners: Owners, far_mm: Array) -> Beyond:
    """Return the places short of what is needed on the continuations of the rims."""
    owner, needed = owners.of(rims.points)
    along = np.maximum(needed, far_mm)
    limit = needed + along + STUD_MM
    near = np.flatnonzero(reach.lower_mm(rims.points, float(limit.max(initial=0.0))) < limit)
    normals, towards = rims.normals[near], reach.foot(rims.points[near]) - rims.points[near]
    flip = np.where(np.einsum("ni,ni->n", normals, towards) < 0, -1.0, 1.0)
    normals = flip[:, None] * normals
    away = np.where(-flip * rims.bend_per_mm[near] > BENT_PER_MM, -flip * rims.bend_per_mm[near], 0.0)
    number, at, radius = _walked(rims, near, normals, away, along[near], far_mm[near] > 0, tree)
    rim = near[number]
    stud = np.where(away[number] > 0, 0.0, np.minimum(STUD_RADII * radius, STUD_MM))
    lower = _lower_mm(at, normals[number], stud, needed[rim], reach)
    short = np.flatnonzero((lower < needed[rim]) & (owners.within_solid(at) > 0))
    short = short[np.argsort(lower[short])]
    short = short[cubes(at[short], GRAIN_MM)[0]]
    rim = rim[short]
    return Beyond(at[short], normals[number[short]], rim, radius[short], lower[short], needed[rim], owner[rim])


def _walked(
    rims: Rims, near: IntArray, normals: Array, away: Array, along: Array, far: NDArray[np.bool_], tree: Neighbours
) -> tuple[IntArray, Array, Array]:
    """Go on from the rims `near` until scan points are met, by up to `along`, (n,) mm.

    Those that go `far` are not stopped by scan points that lie `ASIDE_MM` off.

    Returns for each place the number of its rim in `near`, itself (n, 3) mm and its distance to the scan, mm.
    """
    points, outward, spacing = rims.points[near], rims.outward[near], rims.spacing_mm[near]
    alive = np.arange(len(near), dtype=np.int64)
    number, places, radii = [alive[:0]], [points[:0]], [np.zeros(0)]
    for gone in _steps(float(along.max(initial=0.0))):
        alive = alive[gone < along[alive] + STEP_MM]
        if not len(alive):
            break
        ahead, down = _arc(away[alive], float(gone))
        at = points[alive] + ahead[:, None] * outward[alive] - down[:, None] * normals[alive]
        radius = tree.nearest(at, 2)[0][:, 0]
        share = EMPTY * np.hypot(ahead, down)
        empty = radius >= np.where(far[alive], np.minimum(share, ASIDE_MM), share)
        alive, at, radius = alive[empty], at[empty], radius[empty]
        wide = radius > np.maximum(SMALLEST_MM / 2, spacing[alive])
        number.append(alive[wide])
        places.append(at[wide])
        radii.append(radius[wide])
    return np.concatenate(number), np.concatenate(places), np.concatenate(radii)


def _steps(most_mm: float) -> Array:
    """Return how far from the rim is looked: finer about where the smallest hole has its middle."""
    fine = SMALLEST_MM / 2 + np.arange(0.0, 3.0)
    return np.concatenate([[STEP_MM], fine, np.arange(fine[-1] + STEP_MM, most_mm + STEP_MM, STEP_MM)])


def _arc(bend: Array, gone_mm: float) -> tuple[Array, Array]:
    """Return how far ahead and down, (n,) mm, arcs of curvature `bend` lead in `gone_mm`; half a turn at most."""
    turn = np.minimum(bend * gone_mm, np.pi)
    bent = np.where(bend > 0, bend, 1.0)
    return np.where(bend > 0, np.sin(turn) / bent, gone_mm), np.where(bend > 0, (1 - np.cos(turn)) / bent, 0.0)


def _lower_mm(at: Array, normals: Array, stud_mm: Array, needed_mm: Array, reach: Reach) -> Array:
    """Return lower bounds of the clearance, (n,) mm, of the surface about the places and what stands out of it."""
    slack = float(np.hypot(STEP_MM, STUD_STEP_MM)) / 2
    if not len(at):
        return np.zeros(0)
    cap = float(needed_mm.max()) + STUD_MM + slack
    lower = reach.lower_mm(at, cap) - slack
    may = np.flatnonzero((lower < needed_mm + stud_mm) & (lower > 0))
    for out in np.arange(STUD_STEP_MM, STUD_MM + STUD_STEP_MM / 2, STUD_STEP_MM):
        may = may[stud_mm[may] > out - STUD_STEP_MM]
        there = at[may] + np.minimum(out, stud_mm[may])[:, None] * normals[may]
        lower[may] = np.minimum(lower[may], reach.lower_mm(there, cap) - slack)
    return lower


def _surrounded(beyond: Beyond, rims: Rims) -> NDArray[np.bool_]:
    """Tell which places rims face from all about, each so that its own surface would go on to the place."""
    if not len(beyond.at):
        return np.zeros(0, bool)
    _, index = Neighbours(rims.points).nearest(beyond.at, min(AROUND, len(rims.points)))
    way = rims.points[index] - beyond.at[:, None]
    far = np.linalg.norm(way, axis=2)
    outward = rims.outward[beyond.rim]
    along = np.cross(beyond.normals, outward)
    level = np.abs(np.einsum("nki,ni->nk", way, beyond.normals)) < LEVEL * beyond.radius_mm[:, None]
    level &= np.abs(np.einsum("nki,nki->nk", way, rims.normals[index])) < LEVEL * far
    faces = np.einsum("nki,nki->nk", way, rims.outward[index]) < -FACES * far
    counts = level & faces & (far < AROUND_RADII * beyond.radius_mm[:, None])
    angle = np.arctan2(np.einsum("nki,ni->nk", way, along), np.einsum("nki,ni->nk", way, outward))
    angle = np.sort(np.where(counts, angle, np.pi), axis=1)  # the rim itself lies at half a turn
    return np.asarray(np.diff(angle, axis=1, append=angle[:, :1] + 2 * np.pi).max(axis=1) < ALL_ROUND_RAD)


def _grouped(beyond: Beyond) -> list[Hole]:
    """Return places that hang together as one."""
    if not len(beyond.at):
        return []
    spots = cKDTree(beyond.at)
    near = spots.sparse_distance_matrix(spots, TOGETHER_MM, output_type="coo_matrix")
    near.data[:] = 1.0
    count, group = connected_components(near, directed=False)
    return [_edge(beyond.of(group == number)) for number in range(count)]


def _edge(own: Beyond) -> Hole:
    worst = int(np.argmin(own.lower_mm - own.needed_mm))
    mean = own.normals.sum(axis=0)
    length = float(np.linalg.norm(mean))
    return Hole(
        centre=own.at[np.argmin(np.linalg.norm(own.at - own.at.mean(axis=0), axis=1))],
        normal=mean / length if length > 0 else own.normals[worst],
        owner=int(own.owner[worst]),
        size_mm=2 * float(own.radius_mm.max()),
        nearest_mm=max(0.0, float(own.lower_mm[worst])),
    )


def not_ended(rims: Rims, ends: Sequence[Array]) -> Rims:
    """Return the rims outside the boxes, (2, 3) mm low and high corner, in which the surface is said to end."""
    outside = np.ones(len(rims.points), bool)
    for low, high in ends:
        outside &= ((rims.points < low) | (rims.points > high)).any(axis=1)
    return rims.of(outside)
