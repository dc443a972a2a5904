"""Which panels make a shield: shells folded round the part about one direction, and flat ends where heat passes them.

A shell stands between two planes; its section is the taut line about the part between them, as much of it as the
lines of heat cross. Where the zones leave no room the line is pressed in, down to the least standoff; what is still
short is cut away.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import Mesh
from clearance.shield.crossing import Window, end_points, shell_points, window
from clearance.shield.keep_clear import RoughlyClear
from clearance.shield.panel import Panel, panel
from clearance.shield.section import Section, section_of
from clearance.shield.sightlines import Sightlines
from clearance.shield.surface import offset_along_normals
from clearance.shield.taut import taut

KEPT_WAYS = 3
"""Directions about which more than one shell is tried."""

PRESSES = 5
"""Times a line is pressed in by what is short."""

MOST_SHELLS = 3
"""Shells beside each other, at most."""

END_SHARE = 0.01
"""An end through which a smaller share of the heat passes stays open."""

ALIKE = 0.985
"""Cosine of the angle, 10 degrees, below which two directions are tried as one."""

PRESS_MM = 1.0
"""A place is pressed in by this much more than it is short."""


@dataclass(frozen=True, kw_only=True)
class Wish:
    """The sheet as the job asks for it, mm."""

    standoff_mm: float
    least_mm: float
    sheet_mm: float
    margin_mm: float
    air_mm: float
    pieces: int


def planned(
    part: Mesh, lines: Sightlines, wish: Wish, clear: RoughlyClear, worth: Callable[[tuple[Panel, ...]], float]
) -> Iterator[tuple[tuple[Panel, ...], float]]:
    """Yield ways to make the shield, uncut, with what each is `worth`.

    Those of one shell come first; more shells are tried only about the most worthy directions.
    """
    ways = directions(part, lines)
    for shells in range(1, MOST_SHELLS + 1):
        tried = []
        for along in ways:
            made = _about(part, lines, wish, clear, along, shells)
            tried.append((worth(made), along))
            if len(made) <= wish.pieces:
                yield made, tried[-1][0]
        ways = [along for _, along in sorted(tried, key=lambda one: -one[0])[:KEPT_WAYS]]


def directions(part: Mesh, lines: Sightlines) -> list[Array]:
    """Return the directions along which folds are tried, unit vectors.

    The principal ones of where the surface lies that sends out the heat, the longest first, and of how it faces, the
    one first that it faces least: all of a cylinder is square to its axis.
    """
    power = np.bincount(lines.face, lines.power, len(part.faces))
    a, b, c = part.triangles.swapaxes(0, 1)
    across = np.cross(b - a, c - a)
    normal = across / np.maximum(np.linalg.norm(across, axis=1), 1e-300)[:, None]
    middle = (a + b + c) / 3 - np.average((a + b + c) / 3, axis=0, weights=power)
    faced, lies = (np.linalg.eigh(rows.T @ (rows * power[:, None]))[1].T for rows in (normal, middle))
    found = list[Array]()
    for way in (*lies[::-1], *faced):
        if all(abs(float(way @ other)) < ALIKE for other in found):
            found.append(way)
    return found


def _about(
    part: Mesh, lines: Sightlines, wish: Wish, clear: RoughlyClear, along: Array, shells: int
) -> tuple[Panel, ...]:
    axes = _axes(along)
    ends = _span(part, lines, wish.standoff_mm, along)
    stations = np.linspace(*ends, shells + 1)
    made, loops = [], []
    for low, high in pairwise(stations):
        try:
            shell, loop = _shell(part, lines, wish, clear, axes, (float(low), float(high)))
        except ValueError:  # nothing of the part lies there
            continue
        loops.append(loop)
        made += [shell] if shell is not None else []
    for number, side in ((0, -1.0), (-1, 1.0)):
        if loops and (end := _end(part, lines, wish, clear, axes, loops[number], stations, side)) is not None:
            made.append(end)
    return tuple(made)


def _axes(along: Array) -> Array:
    """Rows: two directions of the section and `along`, right-handed."""
    u = np.cross(along, np.eye(3)[int(np.argmin(np.abs(along)))])
    u /= np.linalg.norm(u)
    return np.stack([u, np.cross(along, u), along])


def _span(part: Mesh, lines: Sightlines, standoff_mm: float, along: Array) -> tuple[float, float]:
    """From where to where the part must be covered; to a standoff beyond its end where that is not far."""
    seen = np.unique(lines.face)
    heights, all_of_it = part.vertices[part.faces[seen]] @ along, part.vertices @ along
    low, high = float(heights.min()), float(heights.max())
    least, most = float(all_of_it.min()), float(all_of_it.max())
    return (least if low - least < standoff_mm else low) - standoff_mm, (
        most if most - high < standoff_mm else high
    ) + standoff_mm


def _shell(
    part: Mesh, lines: Sightlines, wish: Wish, clear: RoughlyClear, axes: Array, ends: tuple[float, float]
) -> tuple[Panel | None, Array]:
    """Return the shell between two planes, None where no heat crosses it, and its whole section, (k, 2) mm."""
    section = section_of(part, axes, ends[0] - wish.standoff_mm, ends[1] + wish.standoff_mm, wish.standoff_mm)
    back = _back(lines, axes, section)
    best: tuple[Panel | None, Array] = (None, np.zeros((0, 2)))
    least_short = np.inf
    for _ in range(PRESSES):
        loop = _counter_clockwise(taut(section, wish.standoff_mm, wish.least_mm, back))
        crossed = window(*shell_points(lines, axes, loop, ends), ends, wish.margin_mm, _length(loop))
        if crossed is None:
            return None, loop
        shell = _panel(loop, axes, crossed)
        outer = offset_along_normals(shell.inner, wish.sheet_mm).vertices
        short = clear.short_mm(outer)
        lacking = float(np.maximum(short, 0.0).sum())
        if lacking < least_short:
            best, least_short = (shell, loop), lacking
        worst = short > 0
        if not worst.any():
            break
        section = section.without(*_thinned(outer[worst] @ axes[:2].T, short[worst] + PRESS_MM))
    return best


def _thinned(places: Array, radius_mm: Array) -> tuple[Array, Array]:
    """Of discs with their middles in one cell of 2 mm keep the largest."""
    order = np.argsort(-radius_mm)
    _, first = np.unique(np.rint(places[order] / 2.0), axis=0, return_index=True)
    return places[order][first], radius_mm[order][first]


def _back(lines: Sightlines, axes: Array, section: Section) -> Array:
    """The direction in the section from which least heat is drawn, (2,)."""
    way = -(lines.way @ axes[:2].T)
    mean = (way * lines.power[:, None]).sum(axis=0)
    size = float(np.linalg.norm(mean))
    return np.array([1.0, 0.0]) if size < 1e-9 else -mean / size


def _panel(loop: Array, axes: Array, crossed: Window) -> Panel:
    twice = np.concatenate([loop, loop[1:] if np.allclose(loop[0], loop[-1]) else loop])
    return panel(twice @ axes[:2], axes[2], crossed.t, crossed.s)


def _end(
    part: Mesh,
    lines: Sightlines,
    wish: Wish,
    clear: RoughlyClear,
    axes: Array,
    loop: Array,
    stations: Array,
    side: float,
) -> Panel | None:
    """Return the flat end at the first or last plane, None where hardly any heat passes there."""
    at = float(stations[0] if side < 0 else stations[-1])
    places, power = end_points(lines, axes, loop, at, side)
    if power.sum() < END_SHARE * lines.power.sum():
        return None
    order = (0, 1) if side > 0 else (1, 0)
    low, high = places.min(axis=0) - wish.margin_mm, places.max(axis=0) + wish.margin_mm
    for standoff in (wish.standoff_mm, wish.least_mm):
        height = at - side * (wish.standoff_mm - standoff)
        first, second = axes[order[0]], axes[order[1]]
        corners = np.stack([low[order[0]] * first, high[order[0]] * first]) + height * axes[2]
        flat = panel(corners, second, (0.0, float(high[order[0]] - low[order[0]])), (low[order[1]], high[order[1]]))
        flat = flat.cut(_within(flat.inner.vertices @ axes[:2].T, loop))
        flat = _around(part, axes, flat, height, wish)
        if not len(flat.flat.faces) or not (clear.short_mm(flat.solid(wish.sheet_mm).vertices) > 0).any():
            break
    return flat if len(flat.flat.faces) else None


def _around(part: Mesh, axes: Array, flat: Panel, height: float, wish: Wish) -> Panel:
    """Cut a flat end back from the part where that goes on through it."""
    try:
        section = section_of(part, axes, height - wish.least_mm, height + wish.least_mm, wish.standoff_mm)
    except ValueError:
        return flat
    return flat.cut(section.away_mm[section.cell(flat.inner.vertices @ axes[:2].T)] - wish.least_mm)


def _within(points: Array, loop: Array) -> Array:
    """Signed distance, (n,) mm, of (n, 2) points from the outline of a loop, above 0 inside."""
    best, inside = np.full(len(points), np.inf), np.zeros(len(points), dtype=bool)
    for a, b in zip(loop, np.roll(loop, -1, axis=0), strict=True):
        way, away = b - a, points - a
        share = np.clip(away @ way / max(float(way @ way), 1e-12), 0.0, 1.0)
        best = np.minimum(best, np.linalg.norm(away - share[:, None] * way, axis=1))
        straddles = (a[1] > points[:, 1]) != (b[1] > points[:, 1])
        rise = way[1] if way[1] else 1.0
        inside ^= straddles & (points[:, 0] < a[0] + (points[:, 1] - a[1]) * way[0] / rise)
    return np.where(inside, best, -best)


def _counter_clockwise(loop: Array) -> Array:
    after = np.roll(loop, -1, axis=0)
    area = float((loop[:, 0] * after[:, 1] - loop[:, 1] * after[:, 0]).sum())
    closed = np.concatenate([loop, loop[:1]])
    turned: Array = closed if area > 0 else closed[::-1]
    return turned


def _length(loop: Array) -> float:
    return float(np.linalg.norm(np.diff(loop, axis=0), axis=1).sum())
