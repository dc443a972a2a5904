"""What is written onto a picture: the gap as a dimension line, colour legend, scale bar, title."""

from __future__ import annotations

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from clearance.frames import Array
from clearance.outputs.camera import Camera
from clearance.outputs.colours import BANDS, SMALLEST_BAND_MM, rgb

INK, PAPER = (0x22, 0x22, 0x22), (0xFF, 0xFF, 0xFF)
BAND_WIDE, LEGEND_HIGH = 130, 14
BAR_LENGTHS = (1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)


def font(size: float) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    """Return the font that Pillow carries."""
    return ImageFont.load_default(size)


def title(image: Image.Image, text: str, below: str) -> None:
    """Write a heading and a line below it into the top left corner."""
    draw = ImageDraw.Draw(image)
    _boxed(draw, (16, 12), text, 22)
    _boxed(draw, (16, 44), below, 16)


def dimension(image: Image.Image, camera: Camera, on_part: Array, on_zone: Array, text: str) -> None:
    """Draw the line between two witness points (3,), bay, mm, with cross ticks and the number beside it."""
    draw = ImageDraw.Draw(image)
    (start, end), _ = camera.project(np.stack([on_part, on_zone]))
    along = end - start
    length = float(np.linalg.norm(along))
    across = np.array([-along[1], along[0]]) / length if length > 1e-6 else np.array([0.0, 1.0])
    for width, ink in ((7, PAPER), (3, INK)):
        draw.line([*map(tuple, (start, end))], fill=ink, width=width)
        for spot in (start, end):
            draw.line([tuple(spot - 9 * across), tuple(spot + 9 * across)], fill=ink, width=width)
    side = across if across[0] > 0 else -across
    place = (start + end) / 2 + 22 * side
    box = draw.textbbox((0, 0), text, font=font(22))
    if place[0] + box[2] > image.width - 12:
        place = (start + end) / 2 - 22 * side - (box[2], 0)
    _boxed(draw, (float(place[0]), float(place[1]) - 14), text, 22)


def legend(image: Image.Image, gap_mm: float | None, of: str = "clearance") -> None:
    """Draw the colour scale along the bottom, words and numbers with it.

    With a required gap the breaks are in mm; with None, for pictures of several gaps, they say "gap".
    `of` is what the colours are of.
    """
    draw = ImageDraw.Draw(image)
    gap = 1.0 if gap_mm is None else gap_mm
    step = max(gap, SMALLEST_BAND_MM)
    edges = [(-step, 0.0), (0.0, gap), (gap, gap + step), (gap + step, gap + 2 * step)]
    bands = [(band, edge) for band, edge in zip(BANDS, edges, strict=True) if edge[1] > edge[0]]
    left, top = 24, image.height - 50
    draw.rectangle((8, top - 28, left + BAND_WIDE * len(bands) + 16, image.height - 8), fill=PAPER)
    draw.text((left, top - 24), of + ("" if gap_mm is None else ", mm"), fill=INK, font=font(14))
    for i, (band, (low, high)) in enumerate(bands):
        x = left + i * BAND_WIDE
        inside = low + (high - low) * (np.arange(BAND_WIDE) + 0.5) / BAND_WIDE
        for column, colour in enumerate(rgb(inside, gap)):
            draw.line([(x + column, top), (x + column, top + LEGEND_HIGH)], fill=tuple(int(c) for c in colour))
        draw.text((x + BAND_WIDE / 2, top + LEGEND_HIGH + 14), band.name, fill=INK, font=font(14), anchor="mm")
        if i:
            draw.line([(x, top - 5), (x, top + LEGEND_HIGH + 5)], fill=INK, width=2)
            draw.text((x, top - 14), _break(low, gap_mm), fill=INK, font=font(14), anchor="mm")


def _break(at: float, gap_mm: float | None) -> str:
    """Name a break of the scale; `at` is in gaps where there is no one gap."""
    if gap_mm is None:
        return {0.0: "0", 1.0: "gap", 2.0: "2 x gap"}[at]
    return f"{at:g}"


def scale_bar(image: Image.Image, camera: Camera) -> None:
    """Draw a bar of a round length in the bottom right corner; lengths square to the view are to scale."""
    draw = ImageDraw.Draw(image)
    length = max((n for n in BAR_LENGTHS if n / camera.mm_per_px <= image.width / 4), default=BAR_LENGTHS[0])
    wide = length / camera.mm_per_px
    right, y = image.width - 24, image.height - 26
    draw.rectangle((right - wide - 10, y - 28, right + 10, y + 12), fill=PAPER)
    draw.line([(right - wide, y), (right, y)], fill=INK, width=3)
    for x in (right - wide, right):
        draw.line([(x, y - 6), (x, y + 6)], fill=INK, width=2)
    draw.text((right - wide / 2, y - 14), f"{length} mm", fill=INK, font=font(16), anchor="mm")


def _boxed(draw: ImageDraw.ImageDraw, place: tuple[float, float], text: str, size: float) -> None:
    box = draw.textbbox(place, text, font=font(size))
    draw.rectangle((box[0] - 5, box[1] - 3, box[2] + 5, box[3] + 3), fill=PAPER)
    draw.text(place, text, fill=INK, font=font(size))
