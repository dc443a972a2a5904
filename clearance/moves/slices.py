"""Pictures of slices through the cells: two of the varied parameters across, the others held.

Free moves are plain and pale, blocked ones dark with slanted lines, undecided ones grey with dots, so that
no colour is needed to tell them apart.
"""

from __future__ import annotations

from itertools import combinations
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from clearance.frames import Array
from clearance.moves.cells import Cells
from clearance.moves.search import Ruling
from clearance.moves.space import NAMES, MoveSpace
from clearance.outputs.annotate import INK, PAPER, font

SIDE, LEFT, TOP, RIGHT, BELOW = 560, 90, 86, 250, 70
MOST_PICTURES = 6
FILL = {Ruling.FREE: (0xE3, 0xEE, 0xF4), Ruling.BLOCKED: (0xA8, 0x6A, 0x3D), Ruling.UNDECIDED: (0xC9, 0xC9, 0xC6)}
SAID = {Ruling.FREE: "keeps every gap", Ruling.BLOCKED: "does not", Ruling.UNDECIDED: "undecided"}
LINES, DOTS = (0x5C, 0x33, 0x14), (0x6E, 0x6E, 0x6A)


def write_slices(cells: Cells, space: MoveSpace, through: Array, found: Array | None, folder: Path) -> tuple[Path, ...]:
    """Draw the slices through a move, (6,), one for every pair of varied parameters (a strip for a single one).

    Parameters
    ----------
    found : (6,) float64 or None
        The smallest free move: ringed where it lies in the slice.
    """
    varied = [int(i) for i in space.varied]
    pairs = list(combinations(varied, 2)) if len(varied) > 1 else [(varied[0], varied[0])]
    paths = []
    for across, up in pairs[:MOST_PICTURES]:
        name = NAMES[across] if across == up else f"{NAMES[across]}_{NAMES[up]}"
        path = folder / f"slice_{name}.png"
        _draw(cells, space, through, found, across, up).save(path)
        paths.append(path)
    return tuple(paths)


def rulings_on(cells: Cells, space: MoveSpace, through: Array, across: int, up: int) -> Array:
    """Return the rulings on a slice of the finest grid, (n up, n across) int8, from low to high.

    A value that lies on a grid line takes the cells above it, on the last line those below.
    """
    span = np.maximum(space.high - space.low, 1e-300)
    at = np.floor((through - space.low) / span * space.counts + 1e-9)
    line = np.clip(at, 0, space.counts - 1).astype(np.int64)
    held = [i for i in range(6) if i not in (across, up)]
    cut = ((cells.low[:, held] <= line[held]) & (cells.high[:, held] > line[held])).all(axis=1)
    grid = np.zeros((1 if across == up else space.counts[up], space.counts[across]))
    for low, high, ruling in zip(cells.low[cut], cells.high[cut], cells.ruling[cut], strict=True):
        rows = slice(None) if across == up else slice(low[up], high[up])
        grid[rows, low[across] : high[across]] = ruling
    return grid


def _draw(cells: Cells, space: MoveSpace, through: Array, found: Array | None, across: int, up: int) -> Image.Image:
    grid = rulings_on(cells, space, through, across, up)
    high = SIDE if across != up else SIDE // 6
    image = Image.new("RGB", (LEFT + SIDE + RIGHT, TOP + high + BELOW), PAPER)
    image.paste(_field(grid, SIDE, high), (LEFT, TOP))
    draw = ImageDraw.Draw(image)
    draw.rectangle((LEFT, TOP, LEFT + SIDE, TOP + high), outline=INK, width=2)
    _axis(draw, space, across, up, high)
    names = NAMES[across] if across == up else f"{NAMES[across]} and {NAMES[up]}"
    draw.text((16, 12), f"Moves along {names}", fill=INK, font=font(22))
    draw.text((16, 46), _held(space, through, across, up), fill=INK, font=font(15))
    still = np.zeros(6)
    if _in(space, still):
        _mark(draw, space, still, across, up, high, ring=False)
    if found is not None and found.any():
        _mark(draw, space, found, across, up, high, ring=True)
    _legend(draw, found is not None and bool(found.any()))
    return image


def _field(grid: Array, wide: int, high: int) -> Image.Image:
    """Colour and pattern of each pixel; rows of the grid run upward."""
    rows = (grid.shape[0] - 1 - np.arange(high) * grid.shape[0] // high)[:, None]
    columns = (np.arange(wide) * grid.shape[1] // wide)[None]
    at = grid[rows, columns]
    y, x = np.mgrid[0:high, 0:wide]
    pixels = np.zeros((high, wide, 3), np.uint8)
    for ruling, colour in FILL.items():
        pixels[at == ruling] = colour
    pixels[(at == Ruling.BLOCKED) & ((x + y) % 9 < 2)] = LINES
    pixels[(at == Ruling.UNDECIDED) & (x % 6 < 2) & (y % 6 < 2)] = DOTS
    return Image.fromarray(pixels)


def _axis(draw: ImageDraw.ImageDraw, space: MoveSpace, across: int, up: int, high: int) -> None:
    for share in np.linspace(0, 1, 5):
        x = LEFT + share * SIDE
        draw.line([(x, TOP + high), (x, TOP + high + 6)], fill=INK, width=2)
        draw.text((x, TOP + high + 18), _number(space, across, share), fill=INK, font=font(15), anchor="mm")
        if across != up:
            y = TOP + high - share * high
            draw.line([(LEFT - 6, y), (LEFT, y)], fill=INK, width=2)
            draw.text((LEFT - 12, y), _number(space, up, share), fill=INK, font=font(15), anchor="rm")
    draw.text((LEFT + SIDE / 2, TOP + high + 44), _unit(across), fill=INK, font=font(16), anchor="mm")
    if across != up:
        draw.text((LEFT + 4, TOP - 13), _unit(up), fill=INK, font=font(16), anchor="lm")


def _number(space: MoveSpace, axis: int, share: float) -> str:
    value = space.low[axis] + share * (space.high[axis] - space.low[axis])
    return f"{round(float(value if axis < 3 else np.degrees(value)), 2) + 0.0:g}"


def _unit(axis: int) -> str:
    return f"{NAMES[axis]}, {'mm' if axis < 3 else 'degrees'}"


def _held(space: MoveSpace, through: Array, across: int, up: int) -> str:
    held = [int(i) for i in space.varied if i not in (across, up)]
    if not held:
        return "nothing else is varied"
    shown = [f"{NAMES[i]} = {round(float(through[i] if i < 3 else np.degrees(through[i])), 3) + 0.0:g}" for i in held]
    return "held: " + ", ".join(shown) + " (mm, degrees)"


def _in(space: MoveSpace, move: Array) -> bool:
    return bool(((move >= space.low) & (move <= space.high)).all())


def _mark(
    draw: ImageDraw.ImageDraw, space: MoveSpace, move: Array, across: int, up: int, high: int, *, ring: bool
) -> None:
    share = (move - space.low) / np.maximum(space.high - space.low, 1e-300)
    x = LEFT + share[across] * SIDE
    y = TOP + high / 2 if across == up else TOP + high - share[up] * high
    _sign(draw, x, y, ring=ring)


def _sign(draw: ImageDraw.ImageDraw, x: float, y: float, *, ring: bool) -> None:
    for width, ink in ((6, PAPER), (3, INK)):
        if ring:
            draw.ellipse((x - 9, y - 9, x + 9, y + 9), outline=ink, width=width)
        else:
            draw.line([(x - 8, y), (x + 8, y)], fill=ink, width=width)
            draw.line([(x, y - 8), (x, y + 8)], fill=ink, width=width)


def _legend(draw: ImageDraw.ImageDraw, found: bool) -> None:
    left = LEFT + SIDE + 24
    for i, ruling in enumerate((Ruling.FREE, Ruling.BLOCKED, Ruling.UNDECIDED)):
        y = TOP + i * 40
        patch = _field(np.full((1, 1), float(ruling)), 36, 24)
        draw._image.paste(patch, (left, y))
        draw.rectangle((left, y, left + 36, y + 24), outline=INK)
        draw.text((left + 46, y + 12), SAID[ruling], fill=INK, font=font(15), anchor="lm")
    signs = [("no move at all", False)] + ([("smallest that keeps all", True)] if found else [])
    for i, (words, ring) in enumerate(signs):
        y = TOP + (3 + i) * 40 + 12
        _sign(draw, left + 18, y, ring=ring)
        draw.text((left + 46, y), words, fill=INK, font=font(15), anchor="lm")
