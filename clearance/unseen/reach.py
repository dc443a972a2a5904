"""How near a place of the bay comes to the part over the motion, and which zone it belongs to."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
from scipy.spatial import cKDTree

from clearance.distance.inside import Surface, surface_of
from clearance.frames import Array
from clearance.motion.field import may_be_lower, sampled_states
from clearance.motion.pair import PairMotion
from clearance.scene.cubes import cubes
from clearance.scene.mesh import IntArray, Mesh
from clearance.unseen.result import Needed

Distance = Callable[[Array], Array]

GRAIN_MM = 2.0
"""Of a zone's points one in a cube of this side speaks, so its distance is known to 3.5 mm here."""


STRETCH_RAD, STRETCH_MM, MOST_STRETCHES = 0.08, 10.0, 12
"""Travel and stroke over which poses are sampled as over a whole motion: 250 mm from the line of a swing, and on a
stroke, 2.5 mm of slack are left."""


class Reach:
    """Clearance of standing places to the part over the motion.

    Parameters
    ----------
    part : Mesh
        Bay frame, neutral pose, mm.
    closed : bool
        Whether places within the mesh count as negative.
    motion : PairMotion
        Part against what stands still.
    """

    def __init__(self, part: Mesh, closed: bool, motion: PairMotion) -> None:
        self._surface, self._closed, self._motion = surface_of(part), closed, motion
        poses = [motion.poses(state) for state in sampled_states(motion)]
        self._seen = [pose.inverse() @ other for pose, other in poses]
        corners = np.stack([self._surface.low, self._surface.high])
        box = np.array([[x, y, z] for x in corners[:, 0] for y in corners[:, 1] for z in corners[:, 2]])
        swept = np.concatenate([seen.inverse().apply(box) for seen in self._seen])
        slack = float(may_be_lower(motion, swept).max())
        self.low, self.high = swept.min(axis=0) - slack, swept.max(axis=0) + slack

    def lower_mm(self, places: Array, cap_mm: float) -> Array:
        """Return (n,) lower bounds of the clearance of (n, 3) places, mm; at or above `cap_mm`: at least that.

        The least distance at the sampled poses less the farthest the place can move from them
        (`clearance.motion.field.may_be_lower`); inside the part is told at the first of them. A pose is
        asked only for places that may come lower there: a distance changes by no more than the place moves.
        """
        slack = may_be_lower(self._motion, places)
        places, limit = self._seen[0].apply(places), cap_mm + slack
        least = limit.copy()
        now = [(seen @ self._seen[0].inverse()).apply for seen in self._seen]
        floor = self._outside_box(places)
        travel = np.max([np.linalg.norm(move(places) - places, axis=1) for move in now], axis=0)
        near = np.flatnonzero(floor - travel < least)
        floor[near] = self._surface.nearest(places[near], signed=self._closed)[0]
        least[near] = np.minimum(least[near], floor[near])
        near = near[floor[near] - travel[near] < least[near]]
        before = places[near]
        for move in now[1:]:
            there = move(places[near])
            floor[near] = np.maximum(floor[near] - np.linalg.norm(there - before, axis=1), self._outside_box(there))
            ask = floor[near] < least[near]
            floor[near[ask]] = self._surface.nearest(there[ask], signed=False)[0]
            least[near] = np.minimum(least[near], floor[near])
            before = there
        # Not least - slack alone: (cap + slack) - slack may round to less than the cap.
        return np.where(least < limit, least - slack, cap_mm)

    def foot(self, places: Array) -> Array:
        """Return for each place the nearest point of the part at the neutral pose, (n, 3) mm."""
        return self._surface.nearest(places, signed=False)[2]

    def _outside_box(self, places: Array) -> Array:
        away = np.maximum(np.maximum(self._surface.low - places, places - self._surface.high), 0.0)
        distance: Array = np.linalg.norm(away, axis=1)
        return np.where(distance > 0, distance, -np.inf)


class FineReach(Reach):
    """The same with a zone's own swing or stroke cut into stretches: slack grows with the way between sampled poses."""

    def __init__(self, part: Mesh, closed: bool, motion: PairMotion) -> None:
        super().__init__(part, closed, motion)
        self._stretches = [Reach(part, closed, own) for own in _stretches(motion)]

    def lower_mm(self, places: Array, cap_mm: float) -> Array:
        """Return as `Reach.lower_mm` does."""
        lower: Array = np.min([stretch.lower_mm(places, cap_mm) for stretch in self._stretches], axis=0)
        return lower


def _stretches(motion: PairMotion) -> list[PairMotion]:
    """Return motions that make up one together, each with its share of the travel or else of the stroke.

    A link's is left whole.
    """
    if motion.shaft is not None:
        return [motion]
    if (travel := motion.travel) is not None:
        return [replace(motion, travel=replace(travel, range_rad=p)) for p in _pieces(travel.range_rad, STRETCH_RAD)]
    if (stroke := motion.stroke) is not None:
        return [replace(motion, stroke=replace(stroke, range_mm=p)) for p in _pieces(stroke.range_mm, STRETCH_MM)]
    return [motion]


def _pieces(whole: tuple[float, float], most: float) -> list[tuple[float, float]]:
    count = int(np.clip(np.ceil((whole[1] - whole[0]) / most), 1, MOST_STRETCHES))
    return list(pairwise(np.linspace(*whole, count + 1).tolist()))


class Owners:
    """Which zone is nearest to a place, by the zone's points or mesh at the neutral pose."""

    def __init__(self, needs: Sequence[Needed], low: Array, high: Array) -> None:
        """Only zone points between `low` and `high`, (3,) mm, are looked at if there are any."""
        self.needs = tuple(needs)
        self._asked = [_nearest(need, low, high) for need in needs]
        self._solids = [Surface(n.zone.mesh) for n in needs if n.zone.mesh is not None and n.zone.closed]

    def of(self, places: Array) -> tuple[IntArray, Array]:
        """Return for (n, 3) places the (n,) index of the nearest zone and the (n,) clearance it needs, mm."""
        away = np.stack([ask(places) for ask in self._asked])
        owner = np.argmin(away, axis=0).astype(np.int64)
        return owner, np.array([need.needed_mm for need in self.needs])[owner]

    def most_needed_mm(self, places: Array, about_mm: float) -> Array:
        """Return the largest need, (n,) mm, of zones that may be nearest somewhere within `about_mm` of each."""
        away = np.stack([ask(places) for ask in self._asked])
        needed = np.array([need.needed_mm for need in self.needs])[:, None]
        most: Array = np.where(away <= away.min(axis=0) + 2 * about_mm, needed, 0.0).max(axis=0)
        return most

    def within_solid(self, places: Array) -> Array:
        """Return the least signed distance, (n,) mm, to the closed meshes among the zones; infinite without any."""
        least = np.full(len(places), np.inf)
        for solid in self._solids:
            least = np.minimum(least, solid.signed_distance(places)[0])
        return least


def _nearest(need: Needed, low: Array, high: Array) -> Distance:
    zone = need.zone
    if zone.mesh is not None:
        surface = Surface(zone.mesh)
        return lambda places: surface.nearest(places, signed=False)[0]
    points = zone.points if zone.points is not None else np.zeros((0, 3))
    near = points[((points >= low) & (points <= high)).all(axis=1)]
    speakers = near[cubes(near, GRAIN_MM)[0]] if len(near) else points
    tree = cKDTree(speakers, balanced_tree=False, compact_nodes=False)
    return lambda places: np.asarray(tree.query(places, workers=-1)[0], np.float64)
