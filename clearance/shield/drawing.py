"""A pattern's sheet as files: SVG to print at 1:1, DXF for a cutter."""

from __future__ import annotations

from io import StringIO
from pathlib import Path
from xml.sax.saxutils import escape

import numpy as np

from clearance.shield.pattern import Pattern
from clearance.shield.sheet import Line, Sheet, Words, sheet_of

SVG, DXF = "shield_pattern.svg", "shield_pattern.dxf"

INK = {"CUT": ("#000000", 0.35, ""), "FOLD": ("#b34700", 0.3, "6 2"), "MARK": ("#0072b2", 0.25, "")}
"""Colour, width, mm, and dashes of a layer's lines in print."""

DXF_COLOUR = {"CUT": 7, "FOLD": 1, "MARK": 5}
"""AutoCAD colour index of a layer."""

MILLIMETRES = 4
"""DXF header variable INSUNITS: the drawing is in millimetres."""


def write_drawing(pattern: Pattern, folder: Path) -> tuple[Path, Path]:
    """Write the pattern into an existing folder as SVG and DXF; return both files. Raises OSError."""
    sheet = sheet_of(pattern)
    svg, dxf = folder / SVG, folder / DXF
    svg.write_text(svg_text(sheet), encoding="utf-8")
    dxf.write_text(dxf_text(sheet), encoding="utf-8")
    return svg, dxf


def svg_text(sheet: Sheet) -> str:
    """Return the sheet as SVG 1.1; one user unit is 1 mm."""
    size = (
        f'width="{sheet.width:.2f}mm" height="{sheet.height:.2f}mm" viewBox="0 0 {sheet.width:.2f} {sheet.height:.2f}"'
    )
    body = [_svg_line(line, sheet.height) for line in sheet.lines]
    body += [_svg_words(words, sheet.height) for words in sheet.words]
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} font-family="Helvetica, Arial, sans-serif">'
    return "\n".join([head, '<rect width="100%" height="100%" fill="#ffffff"/>', *body, "</svg>"]) + "\n"


def dxf_text(sheet: Sheet) -> str:
    """Return the sheet as DXF R2010 in mm: closed polylines on layer CUT, folds on FOLD, all else on MARK and TEXT."""
    from ezdxf.document import Drawing

    drawing = Drawing.new("R2010")
    drawing.header["$INSUNITS"] = MILLIMETRES
    for layer, colour in DXF_COLOUR.items():
        drawing.layers.add(layer, color=colour)
    drawing.layers.add("TEXT", color=8)
    space = drawing.modelspace()
    for line in sheet.lines:
        space.add_lwpolyline(line.points.tolist(), close=line.closed, dxfattribs={"layer": line.layer})
    for words in sheet.words:
        place = (float(words.at[0]), float(words.at[1]))
        placed = {"halign": 1, "align_point": place} if words.centred else {}
        space.add_text(words.text, height=words.height_mm, dxfattribs={"layer": "TEXT", "insert": place, **placed})
    text = StringIO()
    drawing.write(text)
    return text.getvalue()


def _svg_line(line: Line, height: float) -> str:
    colour, wide, dashes = INK[line.layer]
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    points = " ".join(f"{x:.3f},{y:.3f}" for x, y in line.points * np.array([1.0, -1.0]) + np.array([0.0, height]))
    shape = "polygon" if line.closed else "polyline"
    look = f'fill="none" stroke="{colour}" stroke-width="{wide}"{dashed} stroke-linejoin="round"'
    return f'<{shape} points="{points}" {look}/>'


def _svg_words(words: Words, height: float) -> str:
    anchor = ' text-anchor="middle"' if words.centred else ""
    place = f'x="{words.at[0]:.2f}" y="{height - words.at[1]:.2f}"'
    return f'<text {place} font-size="{words.height_mm * 1.3:.2f}"{anchor}>{escape(words.text)}</text>'
