"""Where on the part a move gains and loses margin: a mesh with the numbers on it, and its picture."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh
from PIL import Image, ImageDraw

from clearance.frames import Array, unit_vector
from clearance.moves.what_if import Case
from clearance.outputs.annotate import INK, PAPER, font, scale_bar, title
from clearance.outputs.camera import fit
from clearance.outputs.colours import NOT_CHECKED, Rgb
from clearance.outputs.fields import part_field
from clearance.outputs.raycast import RayMesh
from clearance.outputs.render import Canvas
from clearance.verdict.result import CheckResult

EDGES_MM = (-np.inf, -5.0, -1.0, -0.1, 0.1, 1.0, 5.0, np.inf)
"""Limits of the steps of the scale."""

STEPS: tuple[tuple[int, int, int], ...] = (
    (0x7A, 0x2E, 0x00), (0xC9, 0x5F, 0x10), (0xF0, 0xB2, 0x72), (0xE6, 0xE4, 0xDE),
    (0x9E, 0xC6, 0xDD), (0x4A, 0x8D, 0xBB), (0x10, 0x4A, 0x78),
)  # fmt: skip
"""Colours of the steps, dark at both ends: orange loses, blue gains, told apart in every form of colour blindness."""

WORDS = ("loses > 5", "1 to 5", "0.1 to 1", "same", "0.1 to 1", "1 to 5", "gains > 5")
WIDE, HIGH, CELL = 1200, 800, 104


def margins(result: CheckResult) -> tuple[Array, Array]:
    """Return margin, (n,) mm, of each vertex of `part.shown`: smallest clearance - gap of any zone; and its cap.

    At the cap the margin is only known to be at least that. Sampled (`motion.field`): for pictures, not verdicts.
    """
    field = part_field(result)
    clearance, gap, cap = field.deciding()
    least_cap = float((field.cap_mm - field.gap_mm).min())
    return np.minimum(clearance - gap, least_cap), np.minimum(cap - gap, least_cap)


def difference_mm(before: CheckResult, after: CheckResult) -> Array:
    """Return how much margin each vertex of `part.shown` gains, (n,) mm; NaN where both are only known to be large."""
    (old, old_cap), (new, new_cap) = margins(before), margins(after)
    cap = np.minimum(old_cap.min(), new_cap.min())
    old, new = np.minimum(old, cap), np.minimum(new, cap)
    return np.where((old >= cap) & (new >= cap), np.nan, new - old)


def colours(change_mm: Array) -> Rgb:
    """Return (n, 3) sRGB colours of changes, mm; grey where not known."""
    index = np.searchsorted(EDGES_MM[1:-1], np.nan_to_num(change_mm), side="right")
    table = np.array([*STEPS, NOT_CHECKED], np.uint8)
    return table[np.where(np.isnan(change_mm), len(STEPS), index)]


def difference_ply(before: CheckResult, case: Case) -> bytes:
    """Return the part at its moved neutral place, bay frame, mm, with `change_mm`, `before_mm` and `after_mm`.

    The last two are margins: clearance less the required gap, of the zone that decides at each vertex.
    """
    change = difference_mm(before, case.after)
    placed = case.after.part.shown.moved(case.after.registration.T_bay_part)
    rgba = np.hstack([colours(change), np.full((len(change), 1), 255, np.uint8)])
    mesh = trimesh.Trimesh(placed.vertices, placed.faces, vertex_colors=rgba, process=False)
    mesh.vertex_attributes["change_mm"] = change.astype(np.float32)
    mesh.vertex_attributes["before_mm"] = margins(before)[0].astype(np.float32)
    mesh.vertex_attributes["after_mm"] = margins(case.after)[0].astype(np.float32)
    return bytes(mesh.export(file_type="ply", vertex_normal=False))


def difference_picture(before: CheckResult, case: Case, path: Path) -> None:
    """Draw the part from the side where the change is largest, coloured by what it gains and loses."""
    change = difference_mm(before, case.after)
    placed = case.after.part.shown.moved(case.after.registration.T_bay_part)
    tightest = min(case.after.zones, key=lambda z: z.margin_mm - z.budget.guard)
    rock = case.after.job.rock
    up = unit_vector(rock.up if rock is not None else (0.0, 0.0, 1.0))
    toward = unit_vector(-tightest.sweep.direction + 0.5 * up + 0.2 * np.roll(up, 1))
    camera = fit(placed.vertices, toward=toward, up=up, width=WIDE, height=HIGH, border=0.14)
    canvas, shape = Canvas(camera), RayMesh(placed)
    hits = canvas.hits(shape)
    corners = change[placed.faces[hits.face]]
    known = np.isfinite(corners)
    weight = hits.weights * known
    mixed = (np.nan_to_num(corners) * weight).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-12)
    canvas.surface(shape, hits, colours(np.where(known.any(axis=1), mixed, np.nan)))
    canvas.edges()
    image = canvas.image()
    title(image, f"{case.name}: margin gained and lost", f"seen from the side of {tightest.zone.name}")
    _legend(image)
    scale_bar(image, camera)
    image.save(path)


def _legend(image: Image.Image) -> None:
    draw = ImageDraw.Draw(image)
    left, top = 20, image.height - 52
    count = len(STEPS) + 1
    draw.rectangle((8, top - 26, left + count * CELL + 8, image.height - 6), fill=PAPER)
    draw.text((left, top - 23), "change of clearance less gap, mm", fill=INK, font=font(14))
    for i, (colour, words) in enumerate(zip((*STEPS, NOT_CHECKED), (*WORDS, "far off"), strict=True)):
        x = left + i * CELL
        draw.rectangle((x, top, x + CELL - 3, top + 14), fill=colour, outline=INK)
        sign = "" if i in (3, 7) or "s >" in words else "- " if i < 3 else "+ "
        draw.text((x + CELL / 2, top + 28), sign + words, fill=INK, font=font(14), anchor="mm")
