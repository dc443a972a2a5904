"""Places in the shell about the part that no line of sight passes through and no measured surface explains."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_opening, distance_transform_edt, label

from clearance.frames import Array
from clearance.scene.neighbours import Neighbours
from clearance.unseen.reach import Owners, Reach
from clearance.unseen.sight import Seen, Sight

SMALLEST_MM = 8.0
"""Smallest thing that is looked for: a cube of this side must fit into what was not seen."""

BLOCK_CELLS = 4
"""Cells along the side of the blocks that are asked first."""

MOST_CELLS = 8_000_000

BEHIND_STEPS = 8
"""Places between the part and an unseen one at which measured surface is looked for."""


@dataclass(frozen=True, eq=False)
class Shadow:
    """Unseen places that hang together.

    Attributes
    ----------
    places : (n, 3) float64, mm
        Middles of the cells within the shell.
    lower_mm : (n,) float64
        Lower bound of the clearance of each cell's middle, mm.
    owner : int
        Zone nearest to the place that falls short most.
    size_mm : float
        Diameter of the largest ball that fits.
    """

    places: Array
    lower_mm: Array
    owner: int
    size_mm: float


@dataclass(frozen=True, eq=False)
class Cells:
    """A grid of cubes: `low` (3,) its lowest cell's middle, `side_mm`, `shape` cells along x, y, z."""

    low: Array
    side_mm: float
    shape: tuple[int, int, int]

    def middles(self, chosen: NDArray[np.bool_]) -> Array:
        """Return the (n, 3) middles of the chosen cells, in the order of `np.nonzero`."""
        middles: Array = self.low + self.side_mm * np.column_stack(np.nonzero(chosen))
        return middles


def cells_about(reach: Reach, owners: Owners) -> Cells:
    """Return the grid that holds the shell: two cells to the smallest thing, wider ones where they are too many."""
    side = SMALLEST_MM / 2
    out = max(need.needed_mm for need in owners.needs) + SMALLEST_MM + side
    low, high = reach.low - out, reach.high + out
    side = max(side, float((high - low).prod() / MOST_CELLS) ** (1 / 3))
    x, y, z = (np.ceil((high - low) / (side * BLOCK_CELLS)).astype(int) * BLOCK_CELLS).tolist()
    return Cells(low + side / 2, side, (x, y, z))


def find_shadows(
    cells: Cells, sights: Sequence[Sight], reach: Reach, owners: Owners, tree: Neighbours, sigma_mm: float
) -> list[Shadow]:
    """Return the unseen places of the shell.

    A cell is seen if some station's depth goes beyond it, or measured if a scan point (`tree`) lies
    within a pixel of it. Of the others those count that a cube of two cells fits into, cells just
    outside the shell included, and that no measured surface or solid zone parts from the part.
    """
    unseen = _asked(cells, reach, owners)
    places = cells.middles(unseen)
    blind = np.ones(len(places), dtype=bool)
    for sight in sights:
        left = np.flatnonzero(blind)
        blind[left] = sight.of(places[left], 3 * sigma_mm + cells.side_mm / 2) != Seen.FREE
    places = places[blind]
    unseen[unseen] = blind
    grain = np.min([s.pixel_rad * np.linalg.norm(places - s.eye, axis=1) for s in sights], axis=0)
    unseen[unseen] = tree.nearest(places, 2)[0][:, 0] > np.maximum(1.5 * grain, cells.side_mm)
    return _within_shell(cells, binary_opening(unseen, np.ones((2, 2, 2), bool)), reach, owners, tree)


def _asked(cells: Cells, reach: Reach, owners: Owners) -> NDArray[np.bool_]:
    """Return the cells of blocks that may hold a place nearer to the part than its zone needs, or one next to it."""
    blocks = np.ones([n // BLOCK_CELLS for n in cells.shape], dtype=bool)
    middles = cells.low + cells.side_mm * (np.column_stack(np.nonzero(blocks)) * BLOCK_CELLS + (BLOCK_CELLS - 1) / 2)
    half = cells.side_mm * (BLOCK_CELLS / 2 + 1) * np.sqrt(3.0)
    out = owners.most_needed_mm(middles, half) + half
    near = reach.lower_mm(middles, float(out.max())) < out
    return np.asarray(near.reshape(blocks.shape).repeat(BLOCK_CELLS, 0).repeat(BLOCK_CELLS, 1).repeat(BLOCK_CELLS, 2))


def _within_shell(
    cells: Cells, unseen: NDArray[np.bool_], reach: Reach, owners: Owners, tree: Neighbours
) -> list[Shadow]:
    """Cut unseen places to the shell, drop those behind measured surface, and group them."""
    places, at = cells.middles(unseen), np.column_stack(np.nonzero(unseen))
    if not len(places):
        return []
    owner, needed = owners.of(places)
    lower = reach.lower_mm(places, float(needed.max()))
    short = np.flatnonzero(lower < needed)
    short = short[owners.within_solid(places[short]) > 0]
    short = short[~_behind(places[short], reach, tree, cells.side_mm)]
    if not len(short):
        return []
    radius = (distance_transform_edt(np.pad(unseen, 1))[1:-1, 1:-1, 1:-1] * cells.side_mm)[tuple(at.T)]
    shell = np.zeros(cells.shape, dtype=bool)
    shell[tuple(at[short].T)] = True
    groups, count = label(shell, np.ones((3, 3, 3), bool))
    group = groups[tuple(at[short].T)]
    found = []
    for number in range(1, count + 1):
        own = short[group == number]
        worst = own[np.argmin(lower[own] - needed[own])]
        found.append(Shadow(places[own], lower[own], int(owner[worst]), 2 * float(radius[own].max())))
    return found


def _behind(places: Array, reach: Reach, tree: Neighbours, side_mm: float) -> NDArray[np.bool_]:
    """Tell which places have scan points between them and the part: what is measured is nearer than they are."""
    behind = np.zeros(len(places), dtype=bool)
    if not len(places):
        return behind
    way = reach.foot(places) - places
    for share in (np.arange(BEHIND_STEPS) + 1.0) / BEHIND_STEPS:
        behind |= tree.nearest(places + share * way, 2)[0][:, 0] < side_mm
    return behind
