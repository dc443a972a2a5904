"""How near every one of many points comes to a zone over the whole motion and growth: a lower bound each.

Knows of points that ride with the part, not of surfaces between them. For verdicts there is `sweep`.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.spatial import cKDTree

from clearance.distance.inside import Surface
from clearance.frames import Array
from clearance.heat.growth import Growth
from clearance.motion.pair import PairMotion
from clearance.scene.mesh import IntArray, Mesh
from clearance.scene.zone import Zone

Nearest = Callable[[Array, float], Array]
"""Points (k, 3) and how far to look, mm, to distances (k,), mm; those beyond may be given as any larger number."""

Cell = tuple[Array, Array, IntArray]
"""Low and high corner of a box of states, and the points that are still in question there."""


def approach(
    points: Array, zone: Zone, motion: PairMotion, growth: Growth | None, cap_mm: Array, tolerance_mm: float
) -> Array:
    """Bound from below how near each point comes to a zone in any state of the motion, cold to hot.

    Every point has a branch and bound of its own over the angles, the shares of the straight motions and
    the growth factor: over a box of states its distance falls below the one at the centre by no more
    than it can move, which is the sum of arm x chord over the angles (`PairMotion.arms_mm`, convex in the
    point, so that the larger of cold and hot holds for all growth between), half of every straight
    motion's length, and the distance from the growth's anchor times half the range of factors. A
    signed distance is 1-Lipschitz too, so a point inside a closed zone counts as negative.

    Parameters
    ----------
    points : (n, 3) float64
        Bay frame, neutral pose, growth factor 1, mm.
    growth : Growth or None
        In the bay's frame.
    cap_mm : (n,) float64
        Distances are not worked out beyond this.
    tolerance_mm : float
        Above 0.

    Returns
    -------
    (n,) float64
        Lower bounds, mm, at most `tolerance_mm` below the least distance or the cap, whichever is less.
    """
    if tolerance_mm <= 0:
        raise ValueError("the tolerance must be above 0 mm")
    nearest, moves = _nearest_of(zone), _Moves(points, motion, growth)
    lower, upper = cap_mm.astype(np.float64), cap_mm.astype(np.float64)
    cells: list[Cell] = [(moves.low, moves.high, np.arange(len(points), dtype=np.int64))]
    while cells:
        looked = []
        for low, high, index in cells:
            falls = moves.falls(index, (high - low) / 2)
            fall = falls.sum(axis=1)
            reach = float((upper[index] + fall).max()) + tolerance_mm
            found = np.minimum(nearest(moves.seen((low + high) / 2, index), reach), reach)
            upper[index] = np.minimum(upper[index], found)
            looked.append((low, high, index, found - fall, falls))
        cells = []
        for low, high, index, least, falls in looked:
            done = least >= upper[index] - tolerance_mm
            lower[index[done]] = np.minimum(lower[index[done]], least[done])
            if not done.all():
                cells += _halves(low, high, index[~done], falls[~done])
    return lower


class _Moves:
    """The states of a motion and of growth as one box, and how far each point moves within it."""

    def __init__(self, points: Array, motion: PairMotion, growth: Growth | None) -> None:
        self._points, self._motion = points, motion
        self._anchor = np.zeros(3) if growth is None else growth.anchor
        cold, hot = (1.0, 1.0) if growth is None else (growth.k_cold, growth.k_hot)
        edges = [slide.edges for slide in motion.slides]
        self._lengths = np.linalg.norm(np.concatenate(edges), axis=1)
        self._arms = np.maximum(*(motion.arms_mm(self._grown(points, k), of_part=True) for k in (cold, hot)))
        self._radius = np.linalg.norm(points - self._anchor, axis=1)
        straight = np.zeros(len(self._lengths))
        self.low = np.concatenate([motion.low, straight, [cold]])
        self.high = np.concatenate([motion.high, straight + 1.0, [hot]])

    def falls(self, index: IntArray, half: Array) -> Array:
        """Return how far, (k, dimensions) mm, points move as each coordinate changes by its half width."""
        turns, count = len(self._motion.hinges), len(index)
        turned = self._arms[index] * self._motion.chords(half[:turns])
        slid = np.broadcast_to(self._lengths * half[turns:-1], (count, len(self._lengths)))
        return np.hstack([turned, slid, (self._radius[index] * half[-1])[:, None]])

    def seen(self, at: Array, index: IntArray) -> Array:
        """Return (k, 3) points as the zone sees them, in the zone's coordinates of the neutral pose."""
        turns = len(self._motion.hinges)
        rotation, shift = self._motion.zone_to_part(at[:turns], at[turns:-1])
        seen: Array = (self._grown(self._points[index], float(at[-1])) - shift) @ rotation
        return seen

    def _grown(self, points: Array, factor: float) -> Array:
        grown: Array = self._anchor + factor * (points - self._anchor)
        return grown


def _halves(low: Array, high: Array, index: IntArray, falls: Array) -> list[Cell]:
    """Cut a box across the coordinate in which the points move farthest."""
    along = int(np.argmax(falls.max(axis=0)))
    middle = (low[along] + high[along]) / 2
    below, above = high.copy(), low.copy()
    below[along] = above[along] = middle
    return [(low, below, index), (above, high, index)]


def _nearest_of(zone: Zone) -> Nearest:
    if zone.mesh is not None:
        return _to_mesh(zone.mesh, zone.closed)
    assert zone.points is not None
    tree = cKDTree(zone.points)

    def nearest(points: Array, reach: float) -> Array:
        return np.asarray(tree.query(points, distance_upper_bound=reach)[0], dtype=np.float64)

    return nearest


def _to_mesh(mesh: Mesh, closed: bool) -> Nearest:
    surface = Surface(mesh)

    def nearest(points: Array, reach: float) -> Array:
        return surface.nearest(points, signed=closed)[0]

    return nearest
