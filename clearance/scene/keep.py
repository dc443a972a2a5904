"""What of a large scan is kept point by point. Of the rest one point a cube is kept, see `clearance.scene.sieve`."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from clearance.frames import Array
from clearance.job.where import Where

HALO_MM = 20.0
"""Neighbours of what is kept point by point are looked for this far around it."""

CELL_MM = 6.0
"""Side of the cells in which nearness is noted."""

MOST_CELLS = 4_000_000
"""No more of them: about a part of many metres, mostly one in a wrong unit, they are larger instead."""

THIN_MM, FAR_THIN_MM = 1.0, 4.0
"""Side of the cubes of which one point is kept, about the part and farther off."""

SIGHT_THIN_MM = 0.5
"""Side of those cubes at the part's distance from a station; nearer to the station in proportion."""

LEVELS = (-2, 3)
"""Powers of two between which cube sides may lie."""

HALO, DENSE = 1, 2

Box = tuple[Array, Array]
Nearby = NDArray[np.uint8]


class NearBody:
    """Cells of a grid by how near they are to a body.

    Parameters
    ----------
    places : (n, 3) float64, mm
        Places of the body, over its whole motion.
    grain_mm : float
        No point of the body in any pose is farther from all places than this.
    within_mm : float
        Points this near to the body are surely `DENSE`; those within `HALO_MM` more surely `HALO`.
    """

    def __init__(self, places: Array, grain_mm: float, within_mm: float) -> None:
        wide = np.ptp(places, axis=0) + 2 * (within_mm + HALO_MM + grain_mm + np.sqrt(3.0) * CELL_MM / 2)
        self._cell_mm = max(CELL_MM, float(np.cbrt(wide.prod() / MOST_CELLS)))
        spare = grain_mm + np.sqrt(3.0) * self._cell_mm / 2
        reach = within_mm + HALO_MM + spare
        self.low, high = places.min(axis=0) - reach, places.max(axis=0) + reach
        self._shape = np.ceil((high - self.low) / self._cell_mm).astype(np.int64)
        middles = [self.low[k] + self._cell_mm * (np.arange(self._shape[k]) + 0.5) for k in range(3)]
        tree = cKDTree(places, balanced_tree=False, compact_nodes=False)
        self._level = np.zeros(self._shape, np.uint8)
        for i, x in enumerate(middles[0]):
            y, z = np.meshgrid(middles[1], middles[2], indexing="ij")
            slab = np.stack([np.full_like(y, x), y, z], axis=-1)
            away = tree.query(slab, distance_upper_bound=reach, workers=-1)[0]
            self._level[i] = np.where(away <= within_mm + spare, DENSE, np.where(away <= reach, HALO, 0))

    def of(self, points: Array) -> Nearby:
        """Return `DENSE`, `HALO` or 0 for each of (n, 3) points."""
        cell = np.floor((points - self.low) / self._cell_mm)
        inside = np.flatnonzero(((cell >= 0) & (cell < self._shape)).all(axis=1))
        found = np.zeros(len(points), np.uint8)
        found[inside] = self._level[tuple(cell[inside].astype(np.int64).T)]
        return found


@dataclass(frozen=True, eq=False, kw_only=True)
class Keep:
    """Where a scan is kept point by point, and how it is thinned elsewhere.

    Attributes
    ----------
    body : NearBody or None
        The part over its motion; None where its place is not known yet.
    boxes : (low, high) pairs of (3,) float64, mm
        Kept point by point as well.
    nets : tuple of Where
        Nets of the zones. A cube keeps a point for every set of nets its points lie in, so that no net loses its last.
    about : (low, high) or None
        Cubes have `THIN_MM` in here, `FAR_THIN_MM` outside; None: everywhere the first.
    stations : (k, 3) float64, mm
        Around them cubes are the finer the nearer, so that what blocks a line of sight stays.
    """

    body: NearBody | None = None
    boxes: tuple[Box, ...] = ()
    nets: tuple[Where, ...] = ()
    about: Box | None = None
    stations: Array = field(default_factory=lambda: np.zeros((0, 3)))

    def of(self, points: Array) -> Nearby:
        """Return for each of (n, 3) points whether it is kept (`DENSE`), beside such (`HALO`), or neither (0)."""
        found = self.body.of(points) if self.body is not None else np.zeros(len(points), np.uint8)
        for low, high in self.boxes:
            np.maximum(
                found, np.where(within(points, low - HALO_MM, high + HALO_MM), HALO, 0), out=found, casting="unsafe"
            )
            found[within(points, low, high)] = DENSE
        return found

    def cube_power(self, points: Array) -> NDArray[np.int8]:
        """Return for each of (n, 3) points the power of two, mm, that is the side of its cube."""
        side = np.full(len(points), THIN_MM)
        if self.about is not None and not len(self.stations):
            side[~within(points, *self.about)] = FAR_THIN_MM
        if len(self.stations):
            middle = np.mean(self.about, axis=0) if self.about is not None else points.mean(axis=0)
            for eye in self.stations:
                share = np.linalg.norm(points - eye, axis=1) / max(float(np.linalg.norm(middle - eye)), 1.0)
                side = np.minimum(side, SIGHT_THIN_MM * share)
        power = np.floor(np.log2(np.maximum(side, 2.0 ** LEVELS[0])))
        return np.asarray(np.clip(power, *LEVELS), np.int8)


def within(points: Array, low: Array, high: Array) -> NDArray[np.bool_]:
    """Tell which of (n, 3) points lie in a box."""
    return np.asarray(((points >= low) & (points <= high)).all(axis=1))


def box_of(where: Where) -> Box:
    """Return a box that holds a net; of the rest, all space."""
    if where.box is not None:
        return np.array(where.box.min), np.array(where.box.max)
    if where.sphere is not None:
        middle, radius = np.array(where.sphere.center), where.sphere.diameter / 2
        return middle - radius, middle + radius
    rod = where.cylinder or where.capsule
    if rod is None:
        return np.full(3, -np.inf), np.full(3, np.inf)
    ends = np.array([rod.from_, rod.to])
    return ends.min(axis=0) - rod.diameter / 2, ends.max(axis=0) + rod.diameter / 2
