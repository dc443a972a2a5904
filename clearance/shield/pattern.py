"""The flat pattern of a blank: outlines to cut and lines to fold. Folded sheet lies flat without any stretch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import igl
import numpy as np

from clearance.frames import Array, unit_vector
from clearance.scene.mesh import Mesh
from clearance.shield.blank import Blank
from clearance.shield.panel import Panel

STRAIGHT_MM = 0.02
"""A rim's vertex nearer than this to the line between its neighbours is left out."""

MEETS_MM = 8.0
"""Panels nearer than this to each other are told to meet."""

LEAST_FOLD_RAD = np.radians(0.5)
"""What turns by less is not told as a fold."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Fold:
    """A straight line to fold: its ends, (2, 2) mm, and by how much; above 0 the rims go toward the part."""

    ends: Array
    angle_rad: float


@dataclass(frozen=True, eq=False, kw_only=True)
class PatternPiece:
    """One piece to cut from flat sheet, seen from outside (the side away from the part), mm.

    Attributes
    ----------
    name : str
    rims : loops (k, 2) round the rim, the longest first
    folds : from left to right
    distortion : float
        Largest share by which a width across the folds is too long where they are bent over an inside radius of one
        sheet's thickness instead of to the sharp corners drawn. Nothing else is off.
    joins : (name, (2,) place) of each piece that it meets, at the middle of where they do
    up : (2,) float64
        Which way the bay's up points on the sheet at its middle, unit vector; zero where the sheet faces up or down.
    middle : (2,) float64
        The place that `up` is of, mm.
    area_mm2 : float
    """

    name: str
    rims: tuple[Array, ...]
    folds: tuple[Fold, ...]
    distortion: float
    joins: tuple[tuple[str, Array], ...]
    up: Array
    middle: Array
    area_mm2: float

    @property
    def size(self) -> Array:
        """Width and height, (2,) mm; the lower left corner is at the origin."""
        size: Array = self.rims[0].max(axis=0)
        return size


@dataclass(frozen=True, eq=False, kw_only=True)
class Pattern:
    """The flat pattern of a blank, of the middle of the sheet."""

    pieces: tuple[PatternPiece, ...]
    standoff_mm: float
    sheet_mm: float


def flat_pattern(blank: Blank, up: Array | None = None) -> Pattern:
    """Lay the blank's panels flat, each piece of them that hangs together by itself.

    Parameters
    ----------
    up : (3,) float64, optional
        The bay's up; z by default.

    Raises
    ------
    ValueError
        The blank is empty.
    """
    if not blank.panels:
        raise ValueError("an empty blank has no pattern")
    upward = unit_vector(np.array([0.0, 0.0, 1.0]) if up is None else up)
    names = [_letters(i) for i in range(len(blank.panels))]
    return Pattern(
        pieces=tuple(
            _piece(name, panel, blank.wish.sheet_mm, upward, _others(blank.panels, names, i))
            for i, (name, panel) in enumerate(zip(names, blank.panels, strict=True))
        ),
        standoff_mm=blank.wish.standoff_mm,
        sheet_mm=blank.wish.sheet_mm,
    )


def _others(panels: Sequence[Panel], names: Sequence[str], own: int) -> list[tuple[str, Panel]]:
    return [(name, panel) for i, (name, panel) in enumerate(zip(names, panels, strict=True)) if i != own]


def _piece(name: str, panel: Panel, sheet_mm: float, up: Array, others: Sequence[tuple[str, Panel]]) -> PatternPiece:
    flat = panel.flat.vertices[:, :2]
    middle_t = _to_middle(panel, sheet_mm)
    places = np.column_stack([np.interp(flat[:, 0], panel.starts, middle_t), flat[:, 1]])
    low = places.min(axis=0)
    face = int(np.argmin(np.linalg.norm(places[panel.flat.faces].mean(axis=1) - places.mean(axis=0), axis=1)))
    return PatternPiece(
        name=name,
        rims=_rims(panel.flat, places - low),
        folds=tuple(_folds(panel, places, middle_t, low)),
        distortion=_too_long(panel, sheet_mm) / max(float(np.ptp(places[:, 0])), 1e-9),
        joins=tuple(_joins(panel, places - low, others)),
        up=_up_on_sheet(panel, face, up),
        middle=places[panel.flat.faces[face]].mean(axis=0) - low,
        area_mm2=panel.area_mm2,
    )


def _to_middle(panel: Panel, sheet_mm: float) -> Array:
    """t of each corner, (k,) mm, on the middle of the sheet, which goes round the outside of every fold."""
    longer = sheet_mm / 2 * np.tan(panel.folds[:, 1] / 2)
    widths = np.diff(panel.starts)
    widths[:-1] += longer
    widths[1:] += longer
    return np.concatenate([[0.0], np.cumsum(widths)])


def _too_long(panel: Panel, sheet_mm: float) -> float:
    """By how much the middle of the sheet is shorter round a bend than by the sharp corner, all folds, mm."""
    angle = np.abs(panel.folds[:, 1])
    return float((1.5 * sheet_mm * (2 * np.tan(angle / 2) - angle)).sum())


def _rims(flat: Mesh, places: Array) -> tuple[Array, ...]:
    loops = [_straightened(places[np.asarray(loop, np.int64)]) for loop in igl.boundary_loop_all(flat.faces)]
    return tuple(sorted(loops, key=lambda loop: -float(np.ptp(loop, axis=0).sum())))


def _straightened(loop: Array) -> Array:
    """Leave out what lies on the line between its neighbours, one at a time so that no bend creeps away."""
    kept = list(loop)
    for _ in range(3):
        i = 0
        while i < len(kept) and len(kept) > 3:
            a, b, c = kept[i - 1], kept[i], kept[(i + 1) % len(kept)]
            way = c - a
            off = abs(float(way[0] * (b - a)[1] - way[1] * (b - a)[0])) / max(float(np.linalg.norm(way)), 1e-9)
            if off < STRAIGHT_MM:
                del kept[i]
            else:
                i += 1
    return np.array(kept)


def _folds(panel: Panel, places: Array, middle_t: Array, low: Array) -> list[Fold]:
    """A fold wherever material of the panel lies on its line."""
    found = []
    edges = panel.flat.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    for number, (t, angle) in enumerate(panel.folds):
        on = np.abs(panel.flat.vertices[:, 0] - t) < 1e-6
        along = edges[on[edges].all(axis=1)]
        if abs(angle) < LEAST_FOLD_RAD or not len(along):
            continue
        for start, end in _stretches(np.sort(places[along, 1], axis=1)):
            ends = np.array([[middle_t[number + 1], start], [middle_t[number + 1], end]]) - low
            found.append(Fold(ends=ends, angle_rad=float(angle)))
    return found


def _stretches(pairs: Array) -> list[tuple[float, float]]:
    """Join (n, 2) intervals that touch."""
    made = list[tuple[float, float]]()
    for low, high in pairs[np.argsort(pairs[:, 0])].tolist():
        if made and low <= made[-1][1] + 1e-6:
            made[-1] = (made[-1][0], max(made[-1][1], high))
        else:
            made.append((low, high))
    return made


def _joins(panel: Panel, places: Array, others: Sequence[tuple[str, Panel]]) -> list[tuple[str, Array]]:
    from scipy.spatial import cKDTree

    found = []
    for name, other in others:
        near = np.isfinite(cKDTree(other.inner.vertices).query(panel.inner.vertices, distance_upper_bound=MEETS_MM)[0])
        if near.any():
            found.append((name, places[near].mean(axis=0)))
    return found


def _up_on_sheet(panel: Panel, face: int, up: Array) -> Array:
    """Which way `up` points on the sheet there, (2,) unit vector or zero."""
    a, b, c = panel.inner.triangles[face]
    shares, *_ = np.linalg.lstsq(np.stack([b - a, c - a], axis=1), up, rcond=None)
    p, q, r = panel.flat.triangles[face][:, :2]
    way = np.stack([q - p, r - p], axis=1) @ shares
    length = float(np.linalg.norm(way))
    pointed: Array = way / length if length > 0.1 else np.zeros(2)
    return pointed


def _letters(number: int) -> str:
    return chr(ord("A") + number)
