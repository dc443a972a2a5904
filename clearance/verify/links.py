"""A shaft between engine and chassis, as the engine sees it: where its states point, and that the cells hold them all.

The joint on the engine stands still; the other is a point of the chassis, moved by travel, rock, lift and shift
like any (`paths`). Its pose is the least rotation that takes the neutral direction n to the present one u,

    R = I + K + K^2 / (1 + n . u),   K the cross product with n x u.

The cells are of the components of R's rotation vector along two `axes` across n. As u moves by an angle d over the
sphere, and gets no farther from n than t, they change by no more than d t / sin t: outward as u does, and around
n on a circle of radius t where u goes around one of radius sin t. A rotation itself turns by no more than its
rotation vector changes. So the cells are proved over all their rotations (`Pointing`), and that they hold every
state is proved apart (`state_beyond`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from clearance.frames import Array
from clearance.job.motions import Link
from clearance.job.schema import Job
from clearance.job.schema import Zone as ZoneTable
from clearance.verify.paths import Path, path_of

NAMES = ("link_a", "link_b")
SQUARE = 1e-9
"""Axes may be off length 1 and right angles by this."""

EDGE_RAD = 1e-9
"""A state may lie so far beyond the cells: rounding, 1e-6 mm at 1 m."""

MOST_BOXES = 400_000
"""Boxes of states looked at before it gives up."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Shaft:
    """A link's states. `inner`, `outer` (3,) mm, from an origin of the caller's; `joint`: how the outer one moves."""

    inner: Array
    outer: Array
    joint: Path

    @property
    def neutral(self) -> Array:
        """(3,) unit vector from the inner to the outer joint."""
        along = self.outer - self.inner
        unit: Array = along / np.linalg.norm(along)
        return unit

    def outer_seen(self, angles: Array, slides: Array) -> Array:
        """Return where (m, 2) angles and (m, k) slides bring the outer joint, (m, 3), as the engine sees it."""
        outer = np.broadcast_to(self.outer, (len(angles), 1, 3))
        return self.joint.seen(outer, angles, slides)[:, 0]

    def seen(self, points: Array, angles: Array, slides: Array) -> Array:
        """Place (m, c, 3) points of the link."""
        to = self.outer_seen(angles, slides) - self.inner
        to = to / np.linalg.norm(to, axis=1, keepdims=True)
        axis, cosine = np.cross(self.neutral, to), to @ self.neutral
        away = points - self.inner
        once = np.cross(axis[:, None], away)
        turned: Array = away + once + np.cross(axis[:, None], once) / (1 + cosine)[:, None, None]
        return self.inner + turned

    def pointing(self, axes: Array, angles: Array, slides: Array) -> tuple[Array, Array, Array]:
        """Return (m, 2) coordinates along `axes`, rad, (m,) angle from neutral, (m,) distance between the joints."""
        to = self.outer_seen(angles, slides) - self.inner
        length = np.linalg.norm(to, axis=1)
        normal = np.cross(self.neutral, to)
        sine = np.linalg.norm(normal, axis=1)
        angle = np.arctan2(sine, to @ self.neutral)
        return normal @ axes.T * (angle / np.maximum(sine, 1e-300))[:, None], angle, length


@dataclass(frozen=True, eq=False)
class Pointing:
    """The rotation vectors within a rectangle along two axes: a motion that holds a link's states."""

    inner: Array
    axes: Array
    angle_low: Array
    angle_high: Array
    names: tuple[str, ...] = NAMES

    @property
    def slide_low(self) -> Array:
        """(0,) there are none."""
        return np.zeros(0)

    @property
    def slide_high(self) -> Array:
        """(0,) there are none."""
        return np.zeros(0)

    def seen(self, points: Array, angles: Array, slides: Array) -> Array:
        """Place (m, c, 3) points of the link."""
        turn = np.asarray(Rotation.from_rotvec(angles @ self.axes).as_matrix(), dtype=np.float64)
        placed: Array = (points - self.inner) @ turn.swapaxes(1, 2) + self.inner
        return placed

    def edges(self, angles: Array) -> Array:
        """No slides: (m, 0, 3)."""
        return np.zeros((len(angles), 0, 3))

    def falls(self, points: Array, angles: Array, half_angles: Array, slides: Array, half_slides: Array) -> Array:
        """Farthest (m, 2), mm: a rotation turns by no more than its rotation vector changes."""
        radius = np.linalg.norm(points - self.inner, axis=2).max(axis=1)
        falls: Array = radius[:, None] * half_angles
        return falls

    def bend(self, falls: Array, half_angles: Array) -> Array:
        """Infinite (m,): two components of a rotation vector do not turn one after the other."""
        return np.full(len(falls), np.inf)


def shaft_of(job: Job, table: ZoneTable, link: Link, origin: Array) -> Shaft:
    """Return the states of a zone that rides on a link, coordinates counted from `origin` (3,), mm."""
    on_chassis = table.model_copy(update={"rides": "chassis", "stroke": None})
    return Shaft(
        inner=np.array(link.engine) - origin,
        outer=np.array(link.chassis) - origin,
        joint=path_of(job, on_chassis, origin),
    )


def axes_fault(shaft: Shaft, axes: Array) -> str | None:
    """Return what is wrong with the axes of the cells, None if nothing is."""
    with_neutral = np.vstack([axes, shaft.neutral])
    off = float(np.abs(with_neutral @ with_neutral.T - np.eye(3)).max())
    return None if off <= SQUARE else "the axes of its cells are not at right angles to the shaft and each other"


def state_beyond(shaft: Shaft, axes: Array, low: Array, high: Array) -> str | None:
    """Tell whether every state points into the rectangle; return None if it does, else what is wrong.

    Boxes of states are cut until each one's middle and all that it can turn from there lies inside. ValueError
    where that does not end.
    """
    if (low <= -np.pi).all() and (high >= np.pi).all():
        return None
    low_, high_ = low - EDGE_RAD, high + EDGE_RAD
    joint, a = shaft.joint, len(shaft.joint.angle_low)
    boxes = np.concatenate([joint.angle_low, joint.slide_low, joint.angle_high, joint.slide_high])[None]
    looked = 0
    while len(boxes):
        looked += len(boxes)
        if looked > MOST_BOXES:
            raise ValueError("too many boxes")
        below, above = np.split(boxes, 2, axis=1)
        middle, half = (below + above) / 2, (above - below) / 2
        at, angle, length = shaft.pointing(axes, middle[:, :a], middle[:, a:])
        if ((at < low_) | (at > high_)).any():
            return "a state of the shaft points beyond the cells"
        outer = np.broadcast_to(shaft.outer, (len(boxes), 1, 3))
        moves = np.hstack([joint.falls(outer, middle[:, :a], half[:, :a], middle[:, a:], half[:, a:]), half[:, a:]])
        reach = _turns(moves.sum(axis=1), angle, length)[:, None]
        open_ = ((at - reach < low_) | (at + reach > high_)).any(axis=1)
        boxes = _halved(boxes[open_], moves[open_])
    return None


def _turns(moved: Array, angle: Array, length: Array) -> Array:
    """How far (m,) coordinates change, rad, as the outer joint moves; infinite where that is not told."""
    turn = np.where(moved < length, np.arcsin(np.minimum(moved / length, 1.0)), np.inf)
    farthest = angle + turn
    told = farthest < 3.0
    return np.where(told, turn / np.sinc(np.where(told, farthest, 0.0) / np.pi), np.inf)


def _halved(boxes: Array, moves: Array) -> Array:
    below, above = np.split(boxes, 2, axis=1)
    rows, axis = np.arange(len(boxes)), moves.argmax(axis=1)
    first, second = above.copy(), below.copy()
    first[rows, axis] = second[rows, axis] = (below[rows, axis] + above[rows, axis]) / 2
    return np.vstack([np.hstack([below, first]), np.hstack([second, above])])
