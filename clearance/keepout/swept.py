"""Lower bounds of how near a body comes to many points over its whole motion."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import igl
import numpy as np
from scipy.spatial import cKDTree

from clearance.distance.body import Body, Slide, mesh_body, point_body
from clearance.frames import Array
from clearance.motion.bodies import Solid, corners
from clearance.motion.pair import PairMotion, Rigid
from clearance.scene.mesh import IntArray, Mesh

ROUNDING_MM = 1e-9
"""Taken off every bound for the rounding of float64."""


@dataclass(frozen=True, eq=False)
class Asked:
    """Points, and between which limits their clearance is wanted.

    Attributes
    ----------
    points : (n, 3) float64
        Of the part, bay frame at the neutral pose, mm.
    floor, ceiling : (n,) float64
        Clearances, mm: at or below the one, or at or above the other, no closer answer is wanted.
    tolerance_mm : float
    """

    points: Array
    floor: Array
    ceiling: Array
    tolerance_mm: float

    def only(self, index: IntArray) -> Asked:
        """Return the question for some of the points."""
        return Asked(self.points[index], self.floor[index], self.ceiling[index], self.tolerance_mm)


class SweptBody:
    """A body with the translations of its motion folded in, exactly, ready to be asked at any angles.

    Where what it sweeps over the translations is the same at all angles, seen from itself, it is built once.
    Inside is not asked: the surface of what is swept is measured, from either side.

    Parameters
    ----------
    solid : Mesh or (n, 3) float64
        Bay frame at the neutral pose, mm.
    motion : PairMotion
    """

    def __init__(self, solid: Solid, motion: PairMotion) -> None:
        self.motion, self._solid = motion, solid
        self._arms = motion.arms_mm(corners(solid), of_part=False).max(axis=0, initial=0.0)
        a, b, _ = motion.slides
        zone_turns = any(not hinge.of_part and hinge.high > hinge.low for hinge in motion.hinges)
        self._fixed: _Ready | None = None
        if not len(a.edges) and not (len(b.edges) and zone_turns):
            rotation, _ = self._seen_from_part(motion.low)
            slide = Slide(np.zeros(3), self._edges(motion.low) @ rotation)
            self._fixed = _Ready(solid, slide)

    def least_clearance(self, asked: Asked) -> Array:
        """Return (n,) lower bounds, mm, of the distance of points of the part to the body's surface over the motion.

        Angles are cut into intervals: over one of half width h the clearance of a point falls below that at
        its middle by no more than arm x chord(h) for each angle, and an interval is cut again while that is
        too much for a point to be told. A point whose clearance is at or below its floor gets minus
        infinity; elsewhere the bound is within `tolerance_mm` of the truth or at least the ceiling.
        """
        motion, count = self.motion, len(asked.points)
        least, best = np.full(count, np.inf), np.full(count, np.inf)
        arms = np.minimum(motion.arms_mm(asked.points, of_part=True), self._arms)
        work = [(motion.low, motion.high, np.arange(count, dtype=np.int64))]
        while work:
            low, high, index = work.pop()
            index = index[best[index] > asked.floor[index]]
            if not len(index):
                continue
            fall = arms[index] @ motion.chords((high - low) / 2)
            here = asked.only(index)
            away = self._away((low + high) / 2, here.points, float((here.ceiling + fall).max()) + 2 * ROUNDING_MM)
            best[index] = np.minimum(best[index], away)
            lower = away - fall - ROUNDING_MM
            known = (fall <= asked.tolerance_mm) | (lower >= here.ceiling) | (lower >= best[index] - asked.tolerance_mm)
            least[index[known]] = np.minimum(least[index[known]], lower[known])
            rest = index[~known & (best[index] > here.floor)]
            if len(rest):
                work += [(*half, rest) for half in _halves(low, high, arms[rest].max(axis=0), motion)]
        least[best <= asked.floor] = -np.inf
        return least

    def _away(self, angles: Array, points: Array, reach_mm: float) -> Array:
        """Return the distance, (n,) mm, of points to what the body sweeps over its translations; at most `reach_mm`."""
        rotation, shift = self._seen_from_part(angles)
        if self._fixed is not None:
            return self._fixed.away((points - shift) @ rotation, reach_mm)
        edges = self._edges(angles)
        low = points.min(axis=0) - reach_mm - np.maximum(edges, 0).sum(axis=0)
        high = points.max(axis=0) + reach_mm - np.minimum(edges, 0).sum(axis=0)
        near = _within(self._solid, rotation, shift, low, high)
        if near is None:
            return np.full(len(points), reach_mm)
        return _Ready(near, Slide(np.zeros(3), edges)).away(points, reach_mm)

    def _seen_from_part(self, angles: Array) -> Rigid:
        return self.motion.zone_to_part(angles, np.zeros(len(self.motion.half_shares)))

    def _edges(self, angles: Array) -> Array:
        """Return the translations that the part sees the body make, (k, 3) mm."""
        (u, _), (v, _) = self.motion.turns(angles)
        a, b, c = self.motion.slides
        return np.vstack([c.edges @ (u.T @ v).T, -b.edges @ u, -a.edges])


class _Ready:
    """A body swept over translations, its search tree built."""

    def __init__(self, solid: Solid, slide: Slide) -> None:
        self._tree: Any
        self._body: Body | None = None
        if not isinstance(solid, Mesh) and not len(slide.edges):
            self._tree = cKDTree(solid)
            return
        self._body = mesh_body(solid, slide) if isinstance(solid, Mesh) else point_body(solid, slide)
        self._tree = igl.AABB()
        self._tree.init(self._body.vertices, self._body.faces)

    def away(self, points: Array, reach_mm: float) -> Array:
        if self._body is None:
            found: Array = self._tree.query(points, distance_upper_bound=reach_mm)[0]
            return np.minimum(found, reach_mm)
        squared = self._tree.squared_distance(self._body.vertices, self._body.faces, np.ascontiguousarray(points))[0]
        return np.minimum(np.sqrt(np.asarray(squared, dtype=np.float64)), reach_mm)


def _within(solid: Solid, rotation: Array, shift: Array, low: Array, high: Array) -> Solid | None:
    """Return what of a body, turned and shifted, lies in a box; None for nothing."""
    if not isinstance(solid, Mesh):
        seen = solid @ rotation.T + shift
        seen = seen[((seen >= low) & (seen <= high)).all(axis=1)]
        return seen if len(seen) else None
    moved = solid.vertices @ rotation.T + shift
    triangles = moved[solid.faces]
    keep = ((triangles.max(axis=1) >= low) & (triangles.min(axis=1) <= high)).all(axis=1)
    if not keep.any():
        return None
    used, faces = np.unique(solid.faces[keep], return_inverse=True)
    return Mesh(moved[used], np.asarray(faces, np.int64).reshape(-1, 3))


def _halves(low: Array, high: Array, arms: Array, motion: PairMotion) -> list[tuple[Array, Array]]:
    axis = int(np.argmax(arms * motion.chords((high - low) / 2)))
    middle = (low[axis] + high[axis]) / 2
    upper, lower = low.copy(), high.copy()
    upper[axis] = lower[axis] = middle
    return [(low, lower), (upper, high)]
