"""How a zone moves as seen from the part, written afresh from the job's tables.

With the rock E(roll, lift, shift): turn by roll about the rock axis, then move by lift up and shift forward;
the zone's own stroke comes first, then its travel, then what carries it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy.spatial.transform import Rotation

from clearance.frames import Array
from clearance.job.schema import Job, Zone

ANGLES = ("roll", "travel")


class Motion(Protocol):
    """What proofs ask of a motion: a angles that are searched and k slides that planes take at once."""

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the angles in a certificate."""

    @property
    def angle_low(self) -> Array:
        """(a,) lowest angles, rad."""

    @property
    def angle_high(self) -> Array:
        """(a,) highest angles, rad."""

    @property
    def slide_low(self) -> Array:
        """(k,) mm."""

    @property
    def slide_high(self) -> Array:
        """(k,) mm."""

    def seen(self, points: Array, angles: Array, slides: Array) -> Array:
        """Place (m, c, 3) zone points at (m, a) angles and (m, k) slides."""

    def edges(self, angles: Array) -> Array:
        """Directions (m, k, 3) in which the slides move what is seen."""

    def falls(self, points: Array, angles: Array, half_angles: Array, slides: Array, half_slides: Array) -> Array:
        """Farthest (m, a), mm, that each angle within its half width moves any of it, at any of the slides."""

    def bend(self, falls: Array, half_angles: Array) -> Array:
        """Farthest (m,), mm, that any of it leaves the hull of its places at all ends of its angles and slides.

        `falls` are those of the same half widths; infinite where nothing is known of it.
        """


@dataclass(frozen=True, eq=False)
class Axis:
    """A line to turn about: `point` (3,) mm, unit `direction` (3,)."""

    point: Array
    direction: Array

    def turned(self, points: Array, angle: Array) -> Array:
        """Turn (m, c, 3) points by (m,) rad, right-handed."""
        matrix = self.matrix(angle)
        moved: Array = (points - self.point) @ matrix.swapaxes(1, 2) + self.point
        return moved

    def matrix(self, angle: Array) -> Array:
        """(m, 3, 3) rotations."""
        return np.asarray(Rotation.from_rotvec(angle[:, None] * self.direction).as_matrix(), dtype=np.float64)

    def radius(self, points: Array) -> Array:
        """Largest distance (m,) of (m, c, 3) points from the line, mm."""
        distance: Array = np.linalg.norm(np.cross(points - self.point, self.direction), axis=2).max(axis=1)
        return distance


@dataclass(frozen=True, eq=False, kw_only=True)
class Path:
    """Motion of a zone as seen from the part's neutral place; coordinates count from an origin of the caller's.

    Attributes
    ----------
    rock, travel : Axis or None
    part_turns : bool
        The part rides on the engine and the zone does not; else, with a rock, the other way round.
    angle_low, angle_high : (2,) float64, rad
        Roll and travel; 0 where there is none.
    slide : (k, 3) float64
        Unit directions of stroke, lift and shift, those that there are.
    slide_low, slide_high : (k,) float64, mm
    strokes : int
        1 if the first slide is the stroke, else 0.
    """

    rock: Axis | None
    travel: Axis | None
    part_turns: bool
    angle_low: Array
    angle_high: Array
    slide: Array
    slide_low: Array
    slide_high: Array
    strokes: int
    names: tuple[str, ...] = ANGLES

    def seen(self, points: Array, angles: Array, slides: Array) -> Array:
        """Place (m, c, 3) zone points at (m, 2) angles and (m, k) slides."""
        own, carried = self._moves(slides)
        x = points + own[:, None]
        if self.travel is not None:
            x = self.travel.turned(x, angles[:, 1])
        if self.rock is None:
            return x
        if self.part_turns:
            return self.rock.turned(x - carried[:, None], -angles[:, 0])
        return self.rock.turned(x, angles[:, 0]) + carried[:, None]

    def edges(self, angles: Array) -> Array:
        """Directions (m, k, 3) in which the slides move what is seen, at (m, 2) angles."""
        ways = np.broadcast_to(self.slide, (len(angles), *self.slide.shape)).copy()
        own, carried = slice(0, self.strokes), slice(self.strokes, None)
        if self.travel is not None:
            ways[:, own] = ways[:, own] @ self.travel.matrix(angles[:, 1]).swapaxes(1, 2)
        if self.rock is not None:
            turn = self.rock.matrix(-angles[:, 0] if self.part_turns else angles[:, 0]).swapaxes(1, 2)
            ways[:, own] = ways[:, own] @ turn
            if self.part_turns:
                ways[:, carried] = -(ways[:, carried] @ turn)
        return ways

    def falls(self, points: Array, angles: Array, half_angles: Array, slides: Array, half_slides: Array) -> Array:
        """Farthest (m, 2), mm, that roll and travel within their half widths move any of it, at any of the slides.

        A turn by an angle moves a point at radius r by the chord 2 r sin(angle / 2), and the largest
        such move over a triangle is at a corner, because it is convex in the point.
        """
        chord = 2 * np.sin(np.minimum(half_angles, np.pi) / 2)
        falls = np.zeros((len(points), 2))
        own, carried = self._moves(slides)
        x = points + own[:, None]
        if self.travel is not None:
            falls[:, 1] = chord[:, 1] * (self.travel.radius(x) + half_slides[:, : self.strokes].sum(axis=1))
            x = self.travel.turned(x, angles[:, 1])
        if self.rock is not None:
            if self.part_turns:
                x = x - carried[:, None]
            inner = half_slides if self.part_turns else half_slides[:, : self.strokes]
            falls[:, 0] = chord[:, 0] * (self.rock.radius(x) + inner.sum(axis=1) + falls[:, 1])
        return falls

    def bend(self, falls: Array, half_angles: Array) -> Array:
        """Farthest (m,), mm, that any of it leaves the hull of its places at all ends of its angles and slides.

        An arc of half angle h leaves its chord by r (1 - cos h), that is sin(h / 2) times the chord 2 r sin(h / 2) of
        h. The turns come one after the other: the second moves the first one's chords as they are.
        """
        part = falls * np.sin(half_angles / 2)
        bend: Array = np.where((half_angles <= np.pi / 2).all(axis=1), part.sum(axis=1), np.inf)
        return bend

    def _moves(self, slides: Array) -> tuple[Array, Array]:
        """Translations (m, 3) by the stroke, and by lift and shift."""
        n = self.strokes
        return slides[:, :n] @ self.slide[:n], slides[:, n:] @ self.slide[n:]


def path_of(job: Job, zone: Zone, origin: Array) -> Path:
    """Return the motion of a zone seen from the part, for coordinates counted from `origin` (3,), mm."""
    rock = job.rock if job.rock is not None and zone.rides != job.part.rides else None
    low, high = np.zeros(2), np.zeros(2)
    slides: list[tuple[Array, tuple[float, float]]] = []
    travel = None
    if zone.stroke is not None:
        slides.append((_unit(zone.stroke.axis), zone.stroke.mm))
    if zone.travel is not None:
        travel = Axis(np.array(zone.travel.about) - origin, _unit(zone.travel.axis))
        low[1], high[1] = np.radians(zone.travel.degrees)
    axis = None
    if rock is not None:
        axis = Axis(np.array(rock.axis.point) - origin, _unit(rock.axis.direction))
        low[0], high[0] = np.radians(rock.roll_degrees)
        slides += [(_unit(rock.up), rock.lift), (_unit(rock.forward), rock.shift)]
    return Path(
        rock=axis,
        travel=travel,
        part_turns=job.part.rides == "engine",
        angle_low=low,
        angle_high=high,
        slide=np.array([way for way, _ in slides]).reshape(-1, 3),
        slide_low=np.array([span[0] for _, span in slides], dtype=np.float64),
        slide_high=np.array([span[1] for _, span in slides], dtype=np.float64),
        strokes=int(zone.stroke is not None),
    )


def _unit(direction: tuple[float, float, float]) -> Array:
    way = np.array(direction, dtype=np.float64)
    unit: Array = way / np.linalg.norm(way)
    return unit
