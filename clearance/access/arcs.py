"""Angles at which a handle about an axis is proven free, or proven to be in the way of something."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from clearance.access.moving import STILL, Body, Leg, along, gravest_of, proven_mm
from clearance.access.obstacle import Obstacle
from clearance.access.result import Spot
from clearance.distance.inside import Surface, surface_of
from clearance.distance.near import Balls, balls_of_mesh, balls_of_points
from clearance.frames import Array
from clearance.motion.bodies import CELL_MM, SLACK_MM, Solid, subset
from clearance.scene.cubes import cubes
from clearance.scene.mesh import Mesh
from clearance.scene.refine import refined

SECTORS = 24
"""Sectors into which the circle is cut at first."""

FINEST = 8
"""A sector that is not free is halved while it is longer than the swing over this."""

HALVINGS = 4
"""How often the step towards the end of an arc is halved."""

EDGE_MM = 15.0
"""Edges of the handle are split to this: its vertices are asked first how deep they are in something."""


@dataclass(frozen=True, eq=False)
class _Near:
    """What of an obstacle a handle may come near to at some angle, in balls whose centres are points of it.

    `whole` is all of it, `far` (k,) the farthest that anything in a ball is from the axis, mm.
    """

    whole: Obstacle
    pieces: Solid
    balls: Balls
    far: Array


@dataclass(frozen=True, eq=False)
class _Held:
    """The handle at an angle."""

    body: Body
    surface: Surface


class Arcs:
    """Free and blocked angles of a handle that must swing by `swing_rad` somewhere.

    The circle is cut into sectors, each proven free for all its angles at once. Where no arc of them is long
    enough, single angles are asked whether they are blocked, and only sectors in arcs that are as long
    as the swing and without a blocked angle are halved.

    Parameters
    ----------
    handle : Mesh
        At angle 0, one closed body, bay frame, mm.
    at, axis : (3,) point and unit vector of the axis

    Attributes
    ----------
    spot : Spot or None
        What ends the longest arc without a blocked angle; where no angle is blocked, what comes nearest.
    """

    def __init__(self, handle: Mesh, at: Array, axis: Array, swing_rad: float, obstacles: Sequence[Obstacle]) -> None:
        self._handle, self._at, self._axis, self._swing = refined(handle, EDGE_MM), at, axis, swing_rad
        self._radius = self._leg(0.0).radius_mm(handle)
        near = [self._near(obstacle) for obstacle in obstacles]
        self._obstacles = [obstacle for obstacle in near if obstacle is not None]
        self._free: list[tuple[float, float]] = []
        self._blocked: list[float] = []
        self._asked: list[tuple[float, float]] = []
        width = 2 * np.pi / SECTORS
        sectors = [(k * width, (k + 1) * width) for k in range(SECTORS)]
        left = [sector for sector in sectors if not self._take(*sector)]
        if self.longest_free < swing_rad:
            self._ask_blocked()
            for sector in left:
                self._halve(*sector)

    @property
    def longest_free(self) -> float:
        """Length of the longest arc of free sectors that join, rad."""
        joined: list[list[float]] = []
        for low, high in sorted(self._free):
            if joined and abs(joined[-1][1] - low) < 1e-9:
                joined[-1][1] = high
            else:
                joined.append([low, high])
        if len(joined) > 1 and joined[0][0] < 1e-9 and abs(joined[-1][1] - 2 * np.pi) < 1e-9:
            joined[0][0] = joined.pop()[0] - 2 * np.pi
        return max((high - low for low, high in joined), default=0.0)

    @property
    def longest_not_blocked(self) -> float:
        """Longest arc in which no angle is proven blocked, rad."""
        return max(high - low for low, high in self._not_blocked())

    @property
    def spot(self) -> Spot | None:
        """What ends the longest arc without a blocked angle; where none is blocked, what came nearest."""
        if not self._asked:
            return None
        ends = max(self._not_blocked(), key=lambda arc: arc[1] - arc[0])
        body = self._at_angle(ends[0] if self._blocked else min(self._asked)[1]).body
        return gravest_of([along(body, STILL, near.whole) for near in self._obstacles])[1]

    def _near(self, obstacle: Obstacle) -> _Near | None:
        """Return what lies within the ring that the handle goes round in, widened by what must be kept."""
        solid, reach = obstacle.solid, obstacle.needed_mm + SLACK_MM
        balls = _grouped(balls_of_mesh(solid)) if isinstance(solid, Mesh) else balls_of_points(solid, CELL_MM)
        heights, spread = (balls.centres - self._at) @ self._axis, balls.radii + reach
        low, high = np.sort((self._handle.vertices - self._at) @ self._axis)[[0, -1]]
        radii = np.linalg.norm(balls.centres - self._at - np.outer(heights, self._axis), axis=1)
        within = (heights >= low - spread) & (heights <= high + spread) & (radii <= self._radius + spread)
        if not within.any() and not (isinstance(solid, Mesh) and obstacle.closed):
            return None
        kept, group = np.flatnonzero(within), np.cumsum(within) - 1
        chosen = within[balls.group]
        found = Balls(balls.centres[kept], balls.radii[kept], group[balls.group[chosen]])
        return _Near(obstacle, subset(solid, chosen), found, radii[kept] + found.radii)

    def _leg(self, angle: float) -> Leg:
        return Leg(shift=np.zeros(3), point=self._at, direction=self._axis, angle_rad=angle)

    def _at_angle(self, angle: float) -> _Held:
        mesh = self._handle.moved(self._leg(angle).pose(1.0))
        return _Held(Body(mesh=mesh), Surface(mesh))

    def _take(self, low: float, high: float) -> bool:
        """Note a sector if it is free; what was in the way is asked first the next time."""
        held, half = self._at_angle((low + high) / 2), (high - low) / 2
        for place, near in enumerate(self._obstacles):
            if not self._keeps(held, half, near):
                self._obstacles.insert(0, self._obstacles.pop(place))
                return False
        self._free.append((low, high))
        return True

    def _keeps(self, held: _Held, half: float, near: _Near) -> bool:
        """Tell whether the handle, turned by up to `half` either way, provably keeps what an obstacle needs.

        Something d away in the middle is never nearer than d less the chord of `half` about the axis. Where
        no surfaces meet, the handle is inside a closed obstacle at every angle or at none.
        """
        whole, needed = near.whole, near.whole.needed_mm
        if self._deepest_in(whole, held.body.mesh.vertices[:1]) < 0:
            return False
        away = held.surface.signed_distance(near.balls.centres)[0]
        if away.min(initial=np.inf) < needed:
            return False
        chord = 2 * np.sin(min(half, np.pi) / 2) * np.minimum(near.far, self._radius)
        maybe = away - near.balls.radii - chord < needed + SLACK_MM
        if not maybe.any():
            return True
        pieces = replace(whole, solid=subset(near.pieces, maybe[near.balls.group]), closed=False)
        return proven_mm(held.body, self._leg(half).motion(-1.0, 1.0), pieces, needed) >= needed

    def _halve(self, low: float, high: float) -> None:
        """Look for free parts of a sector that is not free itself, while they may still matter."""
        if high - low <= self._swing / FINEST or self.longest_free >= self._swing:
            return
        if not any(a < high + turn and low + turn < b for a, b in self._open() for turn in (0.0, 2 * np.pi)):
            return
        middle = (low + high) / 2
        for part in ((low, middle), (middle, high)):
            if not self._take(*part):
                self._halve(*part)

    def _ask_blocked(self) -> None:
        """Ask angles less than half a swing apart, then nearer to the ends of arcs that may still be free."""
        step = 0.49 * self._swing
        count = int(np.ceil(2 * np.pi / step))
        for angle in 2 * np.pi * np.arange(count) / count:
            self._ask(float(angle))
        for _ in range(HALVINGS):
            step /= 2
            for low, high in self._open():
                if self._blocked:
                    self._ask(low + step)
                    self._ask(high - step)

    def _ask(self, angle: float) -> None:
        angle %= 2 * np.pi
        if any(low <= angle <= high for low, high in self._free):
            return
        held = self._at_angle(angle)
        nearest = [self._nearest(held, near) for near in self._obstacles]
        self._asked.append((min(nearest), angle))
        if any(
            near.whole.firm and away + near.whole.doubt_mm < near.whole.gap_mm
            for near, away in zip(self._obstacles, nearest, strict=True)
        ):
            self._blocked.append(angle)

    def _nearest(self, held: _Held, near: _Near) -> float:
        """Return an upper bound of the clearance of an obstacle, mm, exact where it tells blocked from not blocked."""
        whole = near.whole
        away = held.surface.signed_distance(near.balls.centres)[0]
        upper, blocks = float(away.min(initial=np.inf)), whole.gap_mm - whole.doubt_mm
        if not whole.firm or upper < blocks:
            return upper
        upper = min(upper, self._deepest_in(whole, held.body.mesh.vertices))
        if upper < blocks or (upper >= 0 and (away - near.balls.radii >= blocks).all()):
            return upper
        _, spot = along(held.body, STILL, whole)
        return upper if spot is None else min(upper, spot.clearance.upper)

    @staticmethod
    def _deepest_in(obstacle: Obstacle, points: Array) -> float:
        """Return minus how deep the deepest of (n, 3) points is in a closed obstacle, mm; infinity if none is."""
        if not (obstacle.closed and isinstance(obstacle.solid, Mesh)):
            return np.inf
        away = surface_of(obstacle.solid).signed_distance(points)[0]
        return float(away.min()) if away.min() < 0 else np.inf

    def _open(self) -> list[tuple[float, float]]:
        """Return the arcs without a blocked angle that are as long as the swing."""
        return [(low, high) for low, high in self._not_blocked() if high - low >= self._swing]

    def _not_blocked(self) -> list[tuple[float, float]]:
        """Arcs from one angle proven blocked to the next; the whole circle where none is."""
        if not self._blocked:
            return [(0.0, 2 * np.pi)]
        at = sorted(self._blocked)
        return list(pairwise([*at, at[0] + 2 * np.pi]))


def _grouped(balls: Balls) -> Balls:
    """Return balls that hold all balls whose centres share a cube."""
    first, group = cubes(balls.centres, CELL_MM)
    centres, radii = balls.centres[first], np.zeros(len(first))
    np.maximum.at(radii, group, np.linalg.norm(balls.centres - centres[group], axis=1) + balls.radii)
    return Balls(centres, radii, group[balls.group])
