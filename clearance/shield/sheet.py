"""One drawing of a flat pattern, as lines and words on a sheet in mm. Knows no file format."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

import numpy as np

from clearance.frames import Array
from clearance.shield.pattern import Pattern, PatternPiece

SPACE_MM = 14.0
"""Kept free around every piece and along the sheet's edges."""

WIDTH_MM = 390.0
"""Width of the sheet, unless a piece is wider: an A3 sheet less the edge that printers leave."""

SCALE_BAR_MM = 100.0
NAME_MM, SMALL_MM = 5.0, 3.2
LINE_MM = 1.6 * SMALL_MM
ARROW_MM, SEAM_MM, FOLD_MM, ROW_MM = 10.0, 6.0, 1.5, 10.0

CAUTION = (
    "An aid, not an approval. Local codes, the limits that the makers of hoses, wires, lines and paint state, and the "
    "judgement of a qualified person come first. Cut it from card and try it on the car before cutting sheet. Check "
    "that it keeps clear of everything, cold and hot, before driving."
)


@dataclass(frozen=True, eq=False)
class Line:
    """A polyline, (k, 2) mm, y up; `layer` is CUT, FOLD or MARK (not worked)."""

    points: Array
    layer: str
    closed: bool = False


@dataclass(frozen=True, eq=False)
class Words:
    """One line of text: where its baseline begins, or its middle if `centred`, (2,) mm, y up, and its height, mm."""

    text: str
    at: Array
    height_mm: float
    centred: bool = False


@dataclass(frozen=True, eq=False, kw_only=True)
class Sheet:
    """All that is drawn, mm, y up, from the lower left corner of a sheet of `width` x `height`."""

    width: float
    height: float
    lines: tuple[Line, ...]
    words: tuple[Words, ...]


def sheet_of(pattern: Pattern) -> Sheet:
    """Lay the pieces out in rows, with names, seams, the way up, a scale bar of 100 mm and the caution."""
    sizes = [piece.size for piece in pattern.pieces]
    width = max([WIDTH_MM] + [float(size[0]) + 2 * SPACE_MM for size in sizes])
    notes = _notes(pattern, width)
    corners, depth = _rows(sizes, width)
    head = SPACE_MM + (len(notes) + 4) * LINE_MM
    height = head + depth
    lines, words = _scale_bar(np.array([SPACE_MM, height - head + 1.5 * LINE_MM]))
    words += _paragraph(notes, height - SPACE_MM / 2)
    for piece, corner in zip(pattern.pieces, corners, strict=True):
        at = np.array([corner[0], height - head - corner[1] - piece.size[1]])
        own_lines, own_words = _piece(piece, at)
        lines, words = lines + own_lines, words + own_words
    return Sheet(width=width, height=height, lines=tuple(lines), words=tuple(words))


def _rows(sizes: list[Array], width: float) -> tuple[list[Array], float]:
    """Place boxes left to right in rows from the top; return their upper left corners (y down) and the depth used."""
    corners, x, y, row = [], SPACE_MM, 0.0, 0.0
    for size in sizes:
        if x > SPACE_MM and x + size[0] + SPACE_MM > width:
            x, y, row = SPACE_MM, y + row + SPACE_MM, 0.0
        corners.append(np.array([x, y]))
        x, row = x + float(size[0]) + SPACE_MM, max(row, float(size[1]))
    return corners, y + row + SPACE_MM


def _notes(pattern: Pattern, width: float) -> list[str]:
    pieces = "piece" if len(pattern.pieces) == 1 else "pieces"
    notes = [
        f"Heat-shield blank, {len(pattern.pieces)} {pieces}, sheet {pattern.sheet_mm:g} mm, standoff "
        f"{pattern.standoff_mm:g} mm. Millimetres, 1:1. Middle of the sheet, seen from outside (away from the part).",
        "Fold along the dashed lines by the degrees beside them: + takes the rims toward the part, - away from it. "
        "Nothing stretches; drawn to sharp corners.",
        *(f"{piece.name}: {told(piece, pattern.sheet_mm)}." for piece in pattern.pieces),
        "No seam allowance, no holes for fixings or for what is bolted to the part: cut those by what is on the car. "
        "'to B' marks where piece B is met; the arrow points up in the bay.",
    ]
    fits = int((width - 2 * SPACE_MM) / (0.68 * SMALL_MM))
    return [line for note in [*notes, CAUTION] for line in textwrap.wrap(note, fits)]


def told(piece: PatternPiece, sheet_mm: float) -> str:
    """Return a piece's size, folds and distortion in words."""
    folds = "flat" if not piece.folds else f"{len(piece.folds)} fold{'s' if len(piece.folds) > 1 else ''}"
    bent = (
        ""
        if not piece.folds
        else f", bent over an inside radius of {sheet_mm:g} mm up to {100 * piece.distortion:.1f} % "
        f"({piece.distortion * piece.size[0]:.1f} mm) too long across the folds"
    )
    return f"{piece.size[0]:.0f} x {piece.size[1]:.0f} mm, {piece.area_mm2 / 100:.0f} cm², {folds}{bent}"


def _paragraph(notes: list[str], top: float) -> list[Words]:
    return [Words(note, np.array([SPACE_MM, top - (i + 1) * LINE_MM]), SMALL_MM) for i, note in enumerate(notes)]


def _scale_bar(at: Array) -> tuple[list[Line], list[Words]]:
    """Bar of 100 mm with a tick every 10 mm, its left end `at`."""
    along = np.arange(0.0, SCALE_BAR_MM + 1, 10.0)
    lines = [Line(at + np.array([[0.0, 0.0], [SCALE_BAR_MM, 0.0]]), "MARK")]
    lines += [Line(at + np.array([[x, 0.0], [x, 4.0 if x % 50 == 0 else 2.0]]), "MARK") for x in along]
    text = f"{SCALE_BAR_MM:g} mm. Measure this bar on the print; where it is not {SCALE_BAR_MM:g} mm, print unscaled."
    return lines, [Words(text, at + np.array([SCALE_BAR_MM + 4.0, 0.0]), SMALL_MM)]


def _piece(piece: PatternPiece, at: Array) -> tuple[list[Line], list[Words]]:
    """Outline, folds, arrow, name and seams of one piece whose lower left corner is `at`."""
    middle = piece.middle + at
    lines = [Line(rim + at, "CUT", closed=True) for rim in piece.rims]
    if piece.up.any():
        tip, across = middle + ARROW_MM / 2 * piece.up, np.array([-piece.up[1], piece.up[0]])
        tail = middle - ARROW_MM / 2 * piece.up
        barbs = [tip - 2.5 * piece.up + 1.2 * across, tip, tip - 2.5 * piece.up - 1.2 * across]
        lines += [Line(np.array([tail, tip]), "MARK"), Line(np.array(barbs), "MARK")]
    rim = np.concatenate([rim + at for rim in piece.rims])
    words = [Words(piece.name, _freest(middle, piece.up, rim) - np.array([0.0, NAME_MM / 2]), NAME_MM, centred=True)]
    row, last = 0, -np.inf
    for fold in piece.folds:
        lines.append(Line(fold.ends + at, "FOLD"))
        row, last = (row + 1 if fold.ends[1, 0] < last + ROW_MM else 0), float(fold.ends[1, 0])
        place = fold.ends[1] + at + np.array([0.0, FOLD_MM + row % 3 * SMALL_MM])
        words.append(Words(f"{np.degrees(fold.angle_rad):+.0f}°", place, SMALL_MM, centred=True))
    for name, seam in piece.joins:
        outward = seam + at - middle
        outward = outward / max(float(np.linalg.norm(outward)), 1e-9)
        beside = seam + at - SEAM_MM * outward - np.array([0.0, SMALL_MM / 2])
        words.append(Words(f"to {name}", beside, SMALL_MM, centred=True))
    return lines, words


def _freest(middle: Array, up: Array, rim: Array) -> Array:
    """Return the place beside, before or behind the arrow that is farthest from the rim, (2,) mm."""
    along = up if up.any() else np.array([1.0, 0.0])
    far, near = ARROW_MM / 2 + NAME_MM, NAME_MM
    across = np.array([-along[1], along[0]])
    places = middle + np.array([-far * along, far * along, near * across, -near * across])
    free = np.linalg.norm(places[:, None] - rim, axis=2).min(axis=1)
    best: Array = places[int(np.argmax(free))]
    return best
