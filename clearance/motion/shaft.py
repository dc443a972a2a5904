"""A shaft between engine and chassis, seen from the engine: it turns about its inner joint.

The inner joint stands still in the engine's frame and the shaft points at the outer joint, wherever
rock and travel bring that; plunge is taken up at the outer joint. The shaft is round, so that its
spin about its own axis does not matter and the least rotation from the neutral direction u0 to the
present one u serves as its pose. That rotation is exp(a e1 + b e2), e1 and e2 at right angles to u0:
the two angles (a, b), rad, are the link's coordinates.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from clearance.frames import Array, unit_vector
from clearance.motion.rock import Rock
from clearance.motion.zone_motion import Link, Travel

SAMPLES = 40_000
"""Cells into which the box of rock and travel is cut to enclose the directions, at most."""

BLIND_RAD = 3.0
"""Directions that may be this far from the neutral one are no longer enclosed: every direction is taken."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Shaft:
    """Pointing of a shaft over rock and travel, in the engine's frame.

    Attributes
    ----------
    inner, outer : (3,) float64
        Joints at the neutral pose, mm.
    rock, travel : None where they do not move the outer joint.
    axes : (2, 3) float64
        e1 and e2.
    low, high : (2,) float64
        Rectangle that encloses the coordinates of every state, rad.
    """

    inner: Array
    outer: Array
    rock: Rock | None
    travel: Travel | None
    axes: Array
    low: Array
    high: Array

    def about(self, origin: Array) -> Shaft:
        """Return the same shaft for coordinates counted from `origin` (3,), mm."""
        rock = None if self.rock is None else replace(self.rock, point=self.rock.point - origin)
        travel = None if self.travel is None else replace(self.travel, point=self.travel.point - origin)
        return replace(self, inner=self.inner - origin, outer=self.outer - origin, rock=rock, travel=travel)

    @property
    def box(self) -> tuple[Array, Array]:
        """Low and high corner, (4,), of (roll rad, lift mm, shift mm, travel rad); 0 for what does not move."""
        ranges = [(0.0, 0.0)] * 4
        if self.rock is not None:
            ranges[:3] = [self.rock.roll_rad, self.rock.lift_mm, self.rock.shift_mm]
        if self.travel is not None:
            ranges[3] = self.travel.range_rad
        low, high = np.array(ranges, dtype=np.float64).T
        return low, high

    def outer_seen(self, values: Array) -> Array:
        """Return where (n, 4) roll, lift, shift, travel bring the outer joint, (n, 3) mm, in the engine's frame."""
        at = np.broadcast_to(self.outer, (len(values), 3))
        if self.travel is not None:
            swing = Rotation.from_rotvec(values[:, 3:] * self.travel.direction)
            at = swing.apply(at - self.travel.point) + self.travel.point
        if self.rock is not None:
            rock = self.rock
            shifted = at - values[:, 1:2] * rock.up - values[:, 2:3] * rock.forward - rock.point
            at = Rotation.from_rotvec(-values[:, :1] * rock.direction).apply(shifted) + rock.point
        return np.asarray(at, dtype=np.float64)

    def coordinates(self, values: Array) -> Array:
        """Return the (n, 2) coordinates, rad, of (n, 4) roll, lift, shift, travel."""
        return self._pointing(self.outer_seen(values))

    def _pointing(self, seen: Array) -> Array:
        neutral = unit_vector(self.outer - self.inner)
        to = seen - self.inner
        turn = np.cross(neutral, to)
        sine = np.linalg.norm(turn, axis=1)
        angle = np.arctan2(sine, to @ neutral)
        vector = turn * (angle / np.where(sine > 0, sine, 1.0))[:, None]
        coordinates: Array = vector @ self.axes.T
        return coordinates

    def turn_rad(self, values: Array, half: Array) -> float:
        """Return how far the coordinates move, rad, from any of (n, 4) states as each value changes by its half width.

        See `shaft_of`; half a turn, the most there is, where that tells nothing.
        """
        away = np.linalg.norm(self.outer_seen(values) - self.inner, axis=1)
        moved = moved_mm(self, half)
        if moved >= away.min():
            return float(np.pi)
        spread = np.arcsin(moved / away)
        angle = np.linalg.norm(self.coordinates(values), axis=1) + spread
        if angle.max() > BLIND_RAD:
            return float(np.pi)
        return min(float((spread * _stretch(angle)).max()), float(np.pi))

    def rotation(self, coordinates: Array) -> Array:
        """Return the (3, 3) least rotation of the shaft about its inner joint."""
        matrix: Array = Rotation.from_rotvec(coordinates @ self.axes).as_matrix()
        return matrix

    def corners_and_middle(self) -> Array:
        """Return (n, 4) states: the corners and the middle of the box."""
        low, high = self.box
        ends = [(0.0, 1.0) if wide else (0.0,) for wide in high > low]
        return low + np.vstack([list(product(*ends)), np.full((1, 4), 0.5)]) * (high - low)

    def nearest_state(self, wanted: Array) -> Array:
        """Return the (4,) roll, lift, shift, travel whose coordinates come nearest to `wanted` (2,), as found."""
        low, high = self.box
        grid = low + _grid(high > low, 2_000) * (high - low)
        start: Array = grid[np.linalg.norm(self.coordinates(grid) - wanted, axis=1).argmin()]
        free = high > low
        if not free.any():
            return start

        def off(shares: Array) -> Array:
            values = low.copy()
            values[free] += shares * (high - low)[free]
            apart: Array = (self.coordinates(values[None])[0] - wanted) * 1e3
            return apart

        shares = np.clip(((start - low)[free]) / (high - low)[free], 1e-9, 1 - 1e-9)
        found = least_squares(off, shares, bounds=(0.0, 1.0), xtol=1e-14, ftol=1e-14, gtol=1e-14).x
        found[found < 1e-7], found[found > 1 - 1e-7] = 0.0, 1.0
        at: Array = low.copy()
        at[free] += found * (high - low)[free]
        return at


def shaft_of(link: Link, rock: Rock | None, travel: Travel | None) -> Shaft:
    """Return the shaft with the rectangle that encloses where it points over rock and travel.

    The box of states is cut into cells. In a cell the outer joint stays within some d of its place at
    the cell's centre, a distance l from the inner joint, so that the direction turns by at most
    asin(d / l); coordinates at an angle r from the neutral direction change by at most r / sin(r)
    times as much, since on the unit sphere a step across the meridian is sin(r) / r of that in the plane.
    Where d reaches l, or r comes near half a turn, every direction is taken.
    """
    along = unit_vector(link.chassis - link.engine)
    first = unit_vector(np.cross(along, np.eye(3)[np.abs(along).argmin()]))
    axes = np.stack([first, np.cross(along, first)])
    every = np.full(2, np.pi)
    shaft = Shaft(
        inner=link.engine, outer=link.chassis, rock=rock, travel=travel, axes=axes, low=-every, high=every
    )  # fmt: skip
    low, high = shaft.box
    count = _per_side(int((high > low).sum()), SAMPLES)
    places = low + _centres(high > low, count) * (high - low)
    seen = shaft.outer_seen(places)
    away = np.linalg.norm(seen - link.engine, axis=1)
    moved = moved_mm(shaft, (high - low) / (2 * count))
    if moved >= away.min():
        return shaft
    spread = np.arcsin(moved / away)
    angle = np.linalg.norm(shaft.coordinates(places), axis=1) + spread
    if angle.max() > BLIND_RAD:
        return shaft
    pointing = shaft.coordinates(places)
    _, _, principal = np.linalg.svd(pointing - pointing.mean(axis=0), full_matrices=False)
    turn = np.array([[principal[0, 0], principal[0, 1]], [-principal[0, 1], principal[0, 0]]])
    shaft = replace(shaft, axes=turn @ axes)
    reach = (spread * _stretch(angle))[:, None] * (1 + 1e-9)
    pointing = shaft.coordinates(places)
    return replace(shaft, low=(pointing - reach).min(axis=0), high=(pointing + reach).max(axis=0))


def _stretch(angle: Array) -> Array:
    """Angle / sin(angle), 1 at 0."""
    stretch: Array = 1 / np.sinc(angle / np.pi)
    return stretch


def moved_mm(shaft: Shaft, half: Array) -> float:
    """How far the outer joint moves, mm, from a cell's centre, (4,) half widths."""
    chord = 2 * np.sin(np.minimum(half, np.pi) / 2)
    swung, rolled = 0.0, 0.0
    low, high = shaft.box
    if shaft.travel is not None:
        arm = _from_line(shaft.outer, shaft.travel.point, shaft.travel.direction)
        swung = chord[3] * arm
        widest = 2 * np.sin(min(float(np.abs([low[3], high[3]]).max()), np.pi) / 2) * arm
    else:
        widest = 0.0
    if shaft.rock is not None:
        shifted = float(np.abs([low[1:3], high[1:3]]).max(axis=0).sum())
        rolled = chord[0] * (_from_line(shaft.outer, shaft.rock.point, shaft.rock.direction) + widest + shifted)
    return float(swung + rolled + half[1] + half[2])


def _from_line(point: Array, on: Array, along: Array) -> float:
    return float(np.linalg.norm(np.cross(point - on, along)))


def _per_side(sides: int, most: int) -> int:
    return max(1, int(most ** (1 / max(sides, 1)))) if sides > 1 else min(most, 4_000)


def _centres(free: NDArray[np.bool_], count: int) -> Array:
    """Shares, (n, 4), of the centres of `count` even cells along each side that has a width."""
    steps = (np.arange(count) + 0.5) / count
    return np.array(list(product(*[steps if f else np.array([0.5]) for f in free])))


def _grid(free: NDArray[np.bool_], most: int) -> Array:
    """Shares, (n, 4), of an even grid with the corners."""
    steps = np.linspace(0.0, 1.0, max(2, min(41, _per_side(int(free.sum()), most))))
    return np.array(list(product(*[steps if f else np.array([0.0]) for f in free])))
