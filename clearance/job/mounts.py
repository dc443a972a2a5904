"""The roll that a torque gives an engine on its mounts, from their places and rates."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from pydantic import Field

from clearance.job.values import NotNegative, Point, Table

Array = NDArray[np.float64]


class Mount(Table):
    """One engine mount."""

    at: Point = Field(description="mm, bay frame, its middle")
    rate: tuple[NotNegative, NotNegative, NotNegative] = Field(
        description="N/mm along the bay's x, y and z, over the load it sees"
    )


def roll_rate(mounts: Sequence[Mount], point: Point, direction: Point) -> float:
    """Return the torque per angle, N m / rad, that turns an engine about a line held where it is.

    Small turns of linear springs: K = sum of d . k d with d = a x r, how far a mount moves per
    radian; for a rate k square to the arm r that is the textbook sum of k r^2.

    Parameters
    ----------
    point, direction : a point of the line, mm, and its direction, any length; bay frame
    """
    along = np.array(direction) / math.hypot(*direction)
    moved = np.cross(along, np.array([mount.at for mount in mounts]) - np.array(point))
    rates = np.array([mount.rate for mount in mounts])
    return float((rates * moved**2).sum()) * 1e-3


def strayed_mm(
    mounts: Sequence[Mount], point: Point, direction: Point, torque_n_m: float, places: Array
) -> float | None:
    """Return how far places (n, 3), bay frame, mm, land from where a turn about the line takes them, at most.

    The engine free on the springs is turned by the torque about the line's direction: the six
    equilibrium equations of a rigid body on linear springs, small turns. None where the mounts do
    not hold it in every direction.
    """
    along, about = np.array(direction) / math.hypot(*direction), np.array(point)
    stiffness = np.zeros((6, 6))
    for mount in mounts:
        moves = np.hstack([np.eye(3), -_cross(np.array(mount.at) - about)])
        stiffness += moves.T @ np.diag(mount.rate) @ moves
    # Lengths in m for the turns, so that the six rows are of one size.
    scale = np.diag([1.0] * 3 + [1e-3] * 3)
    scaled = scale @ stiffness @ scale
    if np.linalg.cond(scaled) > 1e9:
        return None
    twist = scale @ np.linalg.solve(scaled, scale @ np.concatenate([np.zeros(3), 1e3 * torque_n_m * along]))
    arms = places - about
    free = twist[:3] + np.cross(twist[3:], arms)
    held = np.cross(along * torque_n_m / roll_rate(mounts, point, direction), arms)
    return float(np.linalg.norm(free - held, axis=1).max())


def _cross(v: Array) -> Array:
    return np.array([[0.0, -v[2], v[1]], [v[2], 0.0, -v[0]], [-v[1], v[0], 0.0]])
