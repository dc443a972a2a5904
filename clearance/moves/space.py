"""The moves that `room` looks over: three shifts and a rotation vector, cut into an even grid of cells.

A move m = (t, w) maps a point x of the bay to exp([w]x) (x - c) + c + t: the turn about the axis w by the
angle |w| about the centre c, then the shift t. exp is 1-Lipschitz from rotation vectors to turns (the angle
of exp(-[a]x) exp([b]x) is at most |a - b|), so that from one move to another no point x of the bay is
carried farther apart than |t' - t| + |w' - w| |x - c|.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from clearance.frames import Array, Pose, rigid

IntArray = NDArray[np.int64]
NAMES = ("x", "y", "z", "rx", "ry", "rz")
"""Shifts along the bay's axes, and the rotation vector's three parts."""


@dataclass(frozen=True, eq=False, kw_only=True)
class MoveSpace:
    """A box of moves.

    Attributes
    ----------
    low, high : (6,) float64
        t in mm and w in rad. Equal ends: not varied.
    step_mm, step_rad : float
        Cells are cut until their sides are no longer than this.
    about : (3,) float64
        The centre c, bay, mm.
    mm_per_rad : float
        Weight of turns in the size of a move.
    """

    low: Array
    high: Array
    step_mm: float
    step_rad: float
    about: Array
    mm_per_rad: float

    @property
    def counts(self) -> IntArray:
        """(6,) cells along each side, powers of two."""
        steps = np.repeat([self.step_mm, self.step_rad], 3)
        needed = np.maximum((self.high - self.low) / steps * (1 - 1e-12), 1.0)
        counts: IntArray = (2 ** np.ceil(np.log2(needed))).astype(np.int64)
        return counts

    @property
    def poses(self) -> int:
        """Number of cells of the whole grid."""
        return int(np.prod([int(n) for n in self.counts]))

    @property
    def varied(self) -> IntArray:
        """Indices of what is varied."""
        return np.flatnonzero(self.high > self.low).astype(np.int64)

    @property
    def weights(self) -> Array:
        """(6,) mm per mm and mm per rad."""
        return np.repeat([1.0, self.mm_per_rad], 3)

    def edge(self, index: IntArray) -> Array:
        """Return the moves, (..., 6), at grid lines (..., 6)."""
        line: Array = self.low + (self.high - self.low) * (index / self.counts)
        return line

    def size_mm(self, moves: Array) -> Array:
        """Return the weighted size, (...) mm, of moves (..., 6): the root of the sum of squares."""
        size: Array = np.linalg.norm(moves * self.weights, axis=-1)
        return size

    def motion(self, move: Array) -> Pose:
        """Return a move (6,) as a motion of the bay's frame."""
        rotation = rotation_of(move)
        return rigid("bay", "bay", rotation, self.about + move[:3] - rotation @ self.about)


def rotation_of(move: Array) -> Array:
    """Return the (3, 3) turn of a move (6,)."""
    turn: Array = Rotation.from_rotvec(move[3:]).as_matrix()
    return turn
