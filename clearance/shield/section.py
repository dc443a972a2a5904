"""A cross-section that a folded sheet goes round: how far each place of it is from the part, and what is not free."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import binary_fill_holes, distance_transform_edt, label

from clearance.frames import Array
from clearance.scene.mesh import Mesh

STEP_MM = 1.0
"""Side of a cell."""

AROUND_MM = 40.0
"""Room about what is drawn, beyond the standoff."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Section:
    """A raster over a plane square to the folds.

    Attributes
    ----------
    low : (2,) float64
        Middle of the first cell, mm.
    away_mm : (w, h) float64
        Lower bound of the distance of each cell's middle from the part's shadow on the plane, which no point of the
        part is nearer than; 0 within it.
    taken : (w, h) bool
        Where a zone leaves no room.
    """

    low: Array
    away_mm: Array
    taken: NDArray[np.bool_]

    @property
    def middle(self) -> Array:
        """Centroid of the shadow, (2,) mm."""
        cells = np.argwhere(self.away_mm <= 0)
        middle: Array = self.low + STEP_MM * cells.mean(axis=0)
        return middle

    def cell(self, points: Array) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the cells, as an index, that (n, 2) points lie in; those outside go to the nearest one."""
        found = np.rint((points - self.low) / STEP_MM).astype(np.int64)
        i, j = np.clip(found, 0, np.array(self.away_mm.shape) - 1).T
        return i, j

    def without(self, places: Array, radius_mm: Array) -> Section:
        """Return the section with discs, (n, 2) and (n,) mm, taken, and all that lies behind them from the middle."""
        taken, middle = self.taken.copy(), self.middle
        cells = self.low + STEP_MM * np.argwhere(~taken) - middle
        free = np.argwhere(~taken)
        for place, radius in zip(places - middle, radius_mm, strict=True):
            far = float(np.linalg.norm(place))
            beyond = cells @ (place / max(far, 1e-9))
            beside = np.abs(cells[:, 0] * place[1] - cells[:, 1] * place[0]) / max(far, 1e-9)
            widened = radius * np.maximum(beyond / max(far, 1e-9), 1.0)
            hit = (np.linalg.norm(cells - place, axis=1) < radius) | ((beyond > far) & (beside < widened))
            taken[tuple(free[hit].T)] = True
        return replace(self, taken=taken)


def section_of(part: Mesh, axes: Array, low: float, high: float, reach_mm: float) -> Section:
    """Draw the shadow of the part between two planes, of its triangles that reach in between whole.

    Parameters
    ----------
    axes : (3, 3) float64
        Rows: the two directions of the section and the direction along the folds, in which `low` and `high`, mm, are.
    reach_mm : float
        How far about the shadow the raster goes at least.

    Raises
    ------
    ValueError
        No part of the part lies there.
    """
    heights = (part.vertices @ axes[2])[part.faces]
    there = (heights.max(axis=1) >= low) & (heights.min(axis=1) <= high)
    flat = (part.vertices @ axes[:2].T)[part.faces[there]]
    if not len(flat):
        raise ValueError("no part of the part lies between the planes")
    start = flat.min(axis=(0, 1)) - reach_mm - AROUND_MM
    size = np.ceil((flat.max(axis=(0, 1)) + reach_mm + AROUND_MM - start) / STEP_MM).astype(np.int64) + 1
    picture = Image.new("1", (int(size[0]), int(size[1])))
    draw = ImageDraw.Draw(picture)
    for corners in ((flat - start) / STEP_MM).reshape(-1, 6).tolist():
        draw.polygon(corners, fill=1)
        draw.line([*corners, *corners[:2]], fill=1)
    shadow = _as_one(binary_fill_holes(np.asarray(picture, dtype=np.bool_).T))
    away = distance_transform_edt(~shadow) * STEP_MM - 1.5 * STEP_MM
    return Section(low=start, away_mm=np.maximum(away, 0.0), taken=np.zeros(shadow.shape, dtype=np.bool_))


def _as_one(shadow: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Join pieces that lie apart by bars to their common middle, so that a line goes round them all."""
    pieces, count = label(shadow, structure=np.ones((3, 3)))
    if count < 2:
        return shadow
    middle = np.argwhere(shadow).mean(axis=0)
    picture = Image.fromarray(shadow.T.astype(np.uint8))
    draw = ImageDraw.Draw(picture)
    for number in range(1, count + 1):
        cells = np.argwhere(pieces == number)
        nearest = cells[np.argmin(np.linalg.norm(cells - middle, axis=1))]
        draw.line([*middle.tolist(), *nearest.tolist()], fill=1, width=3)
    return np.asarray(picture, dtype=np.bool_).T
