"""A body that moves on a straight or turning way among standing obstacles, proven between all samples."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearance.access.obstacle import Obstacle
from clearance.access.result import Outcome, Spot, outcome_of, spot_of
from clearance.bounds import Bound
from clearance.frames import Array, Pose, rigid, rotation_about, unit_vector
from clearance.motion.bodies import near_pieces, shifted
from clearance.motion.branch import TOUCH_MM
from clearance.motion.pair import PairMotion
from clearance.motion.posed import posed
from clearance.motion.result import Sweep
from clearance.motion.rock import Rock
from clearance.motion.swallowed import inside_at_middle, inside_what_is_swept
from clearance.motion.sweep import sweep, sweep_if_clear
from clearance.scene.mesh import Mesh

TOLERANCE_MM = 0.02
"""Width of the bounds aimed at."""

SHORTEST_MM = 0.05
"""A piece of a way on which no point of the body moves farther is not cut again."""

SPARE_MM = 10.0
"""What keeps this much more than is needed is left out, so that no lower bound says more than that."""

SHARES = (1.0, 0.5, 0.25, 0.75)
"""Places on a leg at which it is asked how deep it meets something."""

MOST_QUERIES = 5000
"""Distances after which a piece counts as not proven."""

MOST_PIECES = 400
"""Pieces after which a turning way past one obstacle is left undecided."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Body:
    """What moves: `mesh` (bay frame, mm, where it stands at first), and whether it bounds a solid."""

    mesh: Mesh
    closed: bool = True


@dataclass(frozen=True, eq=False, kw_only=True)
class Leg:
    """A straight way with an even turn about a line that moves along.

    The pose at t from 0 to 1 is a turn by t `angle_rad` about the line through `point` along
    `direction` (length 1), then a shift by t `shift`; bay frame, mm.
    """

    shift: Array
    point: Array
    direction: Array
    angle_rad: float

    def pose(self, t: float) -> Pose:
        """Return where the body has come to, bay to bay."""
        turn = rotation_about(self.direction, t * self.angle_rad)
        return rigid("bay", "bay", turn, self.point - turn @ self.point + t * self.shift)

    def motion(self, start: float, stop: float) -> PairMotion:
        """Return a motion that holds every pose from t = `start` to `stop`, and more where it shifts and turns."""
        length = float(np.linalg.norm(self.shift))
        first, last = sorted((start * self.angle_rad, stop * self.angle_rad))
        up = self.shift / length if length > 0 else np.array([0.0, 0.0, 1.0])
        side = unit_vector(np.cross(up, np.eye(3)[int(np.argmin(np.abs(up)))]))
        rock = Rock(
            point=self.point, direction=self.direction, up=up, forward=side, roll_rad=(first, last),
            lift_mm=(start * length, stop * length), shift_mm=(0.0, 0.0),
        )  # fmt: skip
        return PairMotion(rock=rock, turned="part")

    @property
    def moves(self) -> bool:
        """Whether it moves anything."""
        return bool(self.shift.any()) or self.angle_rad != 0

    @property
    def mixed(self) -> bool:
        """Whether it shifts and turns at once."""
        return bool(self.shift.any()) and self.angle_rad != 0

    def travel_mm(self, mesh: Mesh) -> float:
        """Return the length of the longest way of any point of a body on the whole leg."""
        return float(np.linalg.norm(self.shift)) + self.radius_mm(mesh) * abs(self.angle_rad)

    def reach_mm(self, mesh: Mesh) -> float:
        """Return how far from its first place any point of a body comes on the leg, at most."""
        chord = 2 * np.sin(min(abs(self.angle_rad), np.pi) / 2)
        return float(np.linalg.norm(self.shift) + self.radius_mm(mesh) * chord)

    def radius_mm(self, mesh: Mesh) -> float:
        """Return the largest distance of a body from the line it turns about, where it stands at first."""
        away = mesh.vertices - self.point
        return float(np.linalg.norm(away - np.outer(away @ self.direction, self.direction), axis=1).max())


STILL = Leg(shift=np.zeros(3), point=np.zeros(3), direction=np.array([0.0, 0.0, 1.0]), angle_rad=0.0)


def along(body: Body, leg: Leg, obstacle: Obstacle, name: str = "") -> tuple[Outcome, Spot | None]:
    """Tell whether a body keeps clear of an obstacle all along a leg.

    A leg that only shifts or only turns is one certified sweep. One that does both is cut in pieces; a
    piece is swept with its turn and its shift independent of each other, which holds all its poses, and
    halved until it is free, a pose of it is blocked, or it is too short to matter.

    Returns
    -------
    Outcome and the spot where it is nearest, or in the way; None for one that keeps `SPARE_MM` more than needed. Of a
    leg in pieces the spot is the middle of the piece of which least is proven.
    """
    near = cropped(obstacle, body.mesh, leg)
    if near is None:
        return Outcome.FREE, None
    if not leg.mixed:
        found = (_if_clear if leg.moves else _swept)(body, leg.motion(0.0, 1.0), near)
        if found is None:
            return _in_the_way(body, leg, near, name)
        spot = _spot(found, near, leg, name)
        return outcome_of(found.clearance, near), replace(spot, clearance=_told(found.clearance, near))
    return _in_pieces(body, leg, near, name)


def _in_the_way(body: Body, leg: Leg, obstacle: Obstacle, name: str) -> tuple[Outcome, Spot | None]:
    """Tell how surely an obstacle that is met blocks a leg, from how deep it is met at a few poses of it."""
    nearest: Spot | None = None
    for share in SHARES:
        there = _swept(body, leg.motion(share, share), obstacle)
        spot = _spot_at(there, obstacle, leg, share, name)
        if outcome_of(there.clearance, obstacle) is Outcome.BLOCKED:
            return Outcome.BLOCKED, spot
        nearest = _nearer(nearest, spot)
    return Outcome.UNDECIDED, nearest


def _in_pieces(body: Body, leg: Leg, obstacle: Obstacle, name: str) -> tuple[Outcome, Spot | None]:
    work, nearest, doubtful, pieces = [(0.0, 1.0, obstacle)], None, None, 0
    travel, needed = leg.travel_mm(body.mesh), obstacle.needed_mm
    while work:
        start, stop, around = work.pop()
        middle, pieces = (start + stop) / 2, pieces + 1
        there = body.mesh.moved(leg.pose(middle))
        near = _boxed(around, there, (stop - start) / 2 * travel + needed + SPARE_MM)
        if near is None:
            continue
        proven = proven_mm(body, leg.motion(start, stop), near, needed)
        if proven >= needed and nearest is not None and min(proven, needed + SPARE_MM) >= nearest.clearance.lower:
            continue
        found = _swept(body, leg.motion(middle, middle), near)
        spot = _spot_at(found, near, leg, middle, name)
        if proven >= needed:
            bound = Bound(proven, max(proven, spot.clearance.upper))
            nearest = replace(spot, clearance=_told(bound, near))
            continue
        outcome = outcome_of(found.clearance, near)
        if outcome is Outcome.BLOCKED:
            return outcome, spot
        if (stop - start) * travel <= SHORTEST_MM or pieces >= MOST_PIECES:
            doubtful = _nearer(doubtful, spot)
            continue
        work += [(middle, stop, near), (start, middle, near)]
    return (Outcome.FREE, nearest) if doubtful is None else (Outcome.UNDECIDED, doubtful)


def proven_mm(body: Body, motion: PairMotion, obstacle: Obstacle, wanted_mm: float | None = None) -> float:
    """Return a lower bound of the clearance over a motion, mm; minus infinity where they meet, however deep.

    With `wanted_mm` the bound is no tighter than tells whether that is kept.
    """
    pair = shifted(body.mesh, body.closed, obstacle.solid, obstacle.closed, motion)
    bodies = posed(pair.motion, near_pieces(pair))
    if inside_at_middle(pair):
        return -np.inf
    bound = bodies.search(TOLERANCE_MM, MOST_QUERIES, wanted_mm=wanted_mm).bound
    meets = bound.upper <= TOUCH_MM + bodies.excess_mm or inside_what_is_swept(pair)
    return -np.inf if meets else bound.lower


def _told(found: Bound, obstacle: Obstacle) -> Bound:
    """Return a bound that also holds for what was left out of an obstacle."""
    return Bound(min(found.lower, obstacle.needed_mm + SPARE_MM), found.upper)


def _if_clear(body: Body, motion: PairMotion, obstacle: Obstacle) -> Sweep | None:
    return sweep_if_clear(body.mesh, body.closed, obstacle.solid, obstacle.closed, motion, TOLERANCE_MM)


def _swept(body: Body, motion: PairMotion, obstacle: Obstacle) -> Sweep:
    return sweep(body.mesh, body.closed, obstacle.solid, obstacle.closed, motion, TOLERANCE_MM)


def _spot(found: Sweep, obstacle: Obstacle, leg: Leg, name: str) -> Spot:
    """Spot of a leg that only shifts or only turns: the sweep names the state."""
    length, roll, lift = float(np.linalg.norm(leg.shift)), found.worst.roll_rad, found.worst.lift_mm
    share = (roll or 0.0) / leg.angle_rad if leg.angle_rad else (lift or 0.0) / length if length else 0.0
    return _spot_at(found, obstacle, leg, share, name)


def _spot_at(found: Sweep, obstacle: Obstacle, leg: Leg, share: float, name: str) -> Spot:
    when = f"{name}{100 * share:.0f} % of the way" if leg.moves else ""
    spot = spot_of(found, obstacle, when)
    return replace(spot, on_moving=leg.pose(share).apply(found.on_part))


def _nearer(known: Spot | None, other: Spot) -> Spot:
    return other if known is None or other.clearance.lower < known.clearance.lower else known


def cropped(obstacle: Obstacle, mesh: Mesh, leg: Leg) -> Obstacle | None:
    """Return an obstacle with no more of its scan points or open surface than can matter; None for nothing.

    What is left out keeps `SPARE_MM` more than is needed, wherever on the leg.
    """
    return _boxed(obstacle, mesh, leg.reach_mm(mesh) + obstacle.needed_mm + SPARE_MM)


def _boxed(obstacle: Obstacle, mesh: Mesh, reach: float) -> Obstacle | None:
    """Return what of an obstacle meets the box about a mesh widened by `reach`, mm; of a closed one all or nothing."""
    low, high = mesh.vertices.min(axis=0) - reach, mesh.vertices.max(axis=0) + reach
    solid = obstacle.solid
    if not isinstance(solid, Mesh):
        points = solid[((solid >= low) & (solid <= high)).all(axis=1)]
        return replace(obstacle, solid=points) if len(points) else None
    corners = solid.triangles
    keep = ((corners.max(axis=1) >= low) & (corners.min(axis=1) <= high)).all(axis=1)
    if not obstacle.closed:
        return replace(obstacle, solid=Mesh(solid.vertices, solid.faces[keep])) if keep.any() else None
    apart = (solid.vertices.max(axis=0) < low).any() or (solid.vertices.min(axis=0) > high).any()
    return None if apart else obstacle


def gravest_of(found: Sequence[tuple[Outcome, Spot | None]]) -> tuple[Outcome, Spot | None]:
    """Return the gravest of several outcomes with the spot that has least in hand of that outcome."""
    if not found:
        return Outcome.FREE, None
    order = (Outcome.BLOCKED, Outcome.UNDECIDED, Outcome.FREE)
    worst = min((outcome for outcome, _ in found), key=order.index)
    spots = [spot for outcome, spot in found if outcome is worst and spot is not None]
    return worst, min(spots, key=lambda s: s.clearance.lower - s.needed_mm, default=None)


def in_hand(spot: Spot | None) -> str:
    """Return how much more than is needed everything keeps, for a message: what was found tightest."""
    if spot is None or spot.clearance.lower - spot.needed_mm >= SPARE_MM - 1e-9:
        return f"everything keeps at least {SPARE_MM:.0f} mm more than is needed"
    least, needed = spot.clearance.lower, spot.needed_mm
    return f"it is tightest at {spot.obstacle}: at least {least:.2f} mm there, {needed:.2f} mm is needed"
