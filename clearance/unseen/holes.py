"""Missing surface that could carry something nearer to the part than a zone needs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.scene.cubes import cubes
from clearance.scene.mesh import IntArray
from clearance.unseen.gaps import Gaps
from clearance.unseen.reach import Owners, Reach

STUD_RADII, STUD_MM = 3.0, 15.0
"""Out of a hole of radius r something may stand by r, or as a stud by up to 3 r but no more than 15 mm."""

GRAIN_MM = 2.0
"""Of the places in a cube of this side the one in the widest gap speaks."""

WITNESSES = 3
"""Rim points that must tell of a hole."""

TOGETHER_MM = 6.0
"""Places nearer than this to each other belong to one hole."""


@dataclass(frozen=True, eq=False)
class Hole:
    """Missing surface. Lengths in mm, bay frame.

    Attributes
    ----------
    centre : (3,) float64
    normal : (3,) float64
        Unit, to the part's side.
    owner : int
        Zone of its rim.
    size_mm : float
        Diameter of the largest ball that fits without touching measured surface.
    nearest_mm : float
        Lower bound of the clearance of what may stand out of it.
    """

    centre: Array
    normal: Array
    owner: int
    size_mm: float
    nearest_mm: float


def standing_out_mm(radius_mm: Array) -> Array:
    """Return by how much something may stand out of holes of (n,) radius, mm."""
    return np.maximum(radius_mm, np.minimum(STUD_RADII * radius_mm, STUD_MM))


def holes_of(gaps: Gaps, reach: Reach, owners: Owners) -> list[Hole]:
    """Return the holes out of which something may stand nearer to the part than the zone of their rim needs."""
    widest = np.argsort(-gaps.radius_mm)
    pick = widest[cubes(gaps.places[widest], GRAIN_MM)[0]]
    places, radius = gaps.places[pick], gaps.radius_mm[pick]
    if not len(pick):
        return []
    owner, needed = owners.of(gaps.rim[pick])
    out = standing_out_mm(radius)
    clearance = reach.lower_mm(places, float((needed + out).max()))
    short = np.flatnonzero((clearance < needed + out) & (owners.within_solid(places) > 0))
    lower = clearance - out
    if not len(short):
        return []
    near = cKDTree(places[short]).sparse_distance_matrix(cKDTree(places[short]), TOGETHER_MM, output_type="coo_matrix")
    near.data[:] = 1.0
    count, group = connected_components(near, directed=False)
    towards = reach.foot(places[short]) - places[short]
    normals = gaps.normals[pick[short]]
    normals = normals * np.where(np.einsum("ni,ni->n", normals, towards) < 0, -1.0, 1.0)[:, None]
    return [
        _hole(short[group == n], normals[group == n], places, radius, lower - needed, lower, owner)
        for n in range(count)
        if _witnesses(gaps, places[short[group == n]]) >= WITNESSES
    ]


def _witnesses(gaps: Gaps, places: Array) -> int:
    """Return how many rim points told of a hole at these places."""
    near = cKDTree(places).query(gaps.places, distance_upper_bound=TOGETHER_MM)[0] < TOGETHER_MM
    return len(np.unique(gaps.rim[near], axis=0))


def _hole(
    own: IntArray, normals: Array, places: Array, radius: Array, margin: Array, lower: Array, owner: IntArray
) -> Hole:
    mean = normals.sum(axis=0)
    length = float(np.linalg.norm(mean))
    worst = own[np.argmin(margin[own])]
    return Hole(
        centre=places[own].mean(axis=0),
        normal=mean / length if length > 0 else normals[0],
        owner=int(owner[worst]),
        size_mm=2 * float(radius[own].max()),
        nearest_mm=max(0.0, float(lower[worst])),
    )
