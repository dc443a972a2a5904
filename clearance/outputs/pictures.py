"""The pictures of a report: the part coloured by clearance, and every zone's worst spot with the gap drawn in."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from clearance.frames import Array, unit_vector
from clearance.outputs import annotate
from clearance.outputs.camera import Camera, fit, look
from clearance.outputs.colours import Rgb, rgb
from clearance.outputs.fields import Field, part_field, part_field_of, zone_field_of
from clearance.outputs.figures import at_least, at_most, pose_words
from clearance.outputs.raycast import Hits, RayMesh
from clearance.outputs.render import SHARPER, Canvas
from clearance.outputs.stems import stems
from clearance.outputs.terminal import WORDS
from clearance.scene.mesh import IntArray
from clearance.verdict.result import CheckResult, ZoneResult

WIDE, HIGH = 1200, 800
SMALLEST_VIEW_MM = 110.0
TRIED_SIDES = 24
SMALLEST_DOT, LARGEST_DOT = 4, 10
NEAR_POINTS_MM = 250.0
"""Zone points farther than this from the worst spot are left out of its picture."""

PLAIN = np.array([0xB8, 0xB4, 0xAC], np.uint8)
"""Zone surface and points that are not what the picture is about."""


@dataclass(frozen=True)
class Picture:
    """One picture file and the words that stand for it."""

    path: Path
    caption: str
    zone: str | None = None


def write_pictures(result: CheckResult, folder: Path) -> tuple[Picture, ...]:
    """Write part.png and one worst_<zone>.png each; return them with captions."""
    folder.mkdir()
    pictures = [_part_picture(result, folder / "part.png")]
    names = stems(zone.zone.name for zone in result.zones)
    for zone in result.zones:
        pictures.append(_worst_picture(result, zone, folder / f"worst_{names[zone.zone.name]}.png"))
    return tuple(pictures)


def _part_picture(result: CheckResult, path: Path) -> Picture:
    """Whole part at the neutral pose from the side of its tightest spot; zones faint, never in front of the part."""
    placed = result.part.shown.moved(result.registration.T_bay_part)
    tightest = min(result.zones, key=lambda z: z.margin_mm - z.budget.guard)
    up = _up(result)
    toward = unit_vector(-tightest.sweep.direction + 0.45 * up + 0.25 * _beside(-tightest.sweep.direction, up))
    camera = fit(placed.vertices, toward=toward, up=up, width=WIDE, height=HIGH, border=0.14)
    canvas, shape = Canvas(camera), RayMesh(placed)
    hits = canvas.hits(shape)
    canvas.surface(shape, hits, _colours_at(part_field(result), placed.faces, hits))
    canvas.edges()
    for zone in result.zones:
        _draw_faint(canvas, zone)
    image = canvas.image()
    annotate.title(
        image,
        "Part, coloured by the zone that decides at each place",
        "smallest clearance over the motion",
    )
    gaps = {zone.zone.gap_mm for zone in result.zones}
    annotate.legend(image, gaps.pop() if len(gaps) == 1 else None)
    annotate.scale_bar(image, camera)
    image.save(path)
    return Picture(
        path, f"The part at the neutral pose, seen from the side of {tightest.zone.name}, its tightest neighbour."
    )


def _worst_picture(result: CheckResult, zone: ZoneResult, path: Path) -> Picture:
    """Part and zone where they come nearest, seen across the gap."""
    posed = result.part.shown.moved(zone.worst_part_pose)
    back = result.registration.T_bay_part.inverse()
    on_part = zone.worst_part_pose.apply(back.apply(zone.sweep.on_part))
    on_zone = zone.worst_zone_pose.apply(zone.sweep.on_zone)
    shape = RayMesh(posed)
    camera, near = _across_the_gap(result, zone, on_part, on_zone, shape)
    canvas = Canvas(camera, near)
    hits = canvas.hits(shape)
    canvas.surface(shape, hits, _colours_at(part_field_of(zone), posed.faces, hits))
    _draw_at_worst(canvas, zone, on_zone)
    image = canvas.image()
    bound = zone.sweep.clearance
    number = f"{at_least(bound.lower)} mm" if bound.lower > 0 else f"interferes, {at_most(-bound.lower)} mm deep"
    annotate.dimension(image, camera, on_part, on_zone, number)
    heading = f"{zone.zone.name}: {number}, gap required {zone.zone.gap_mm:g} mm: {WORDS[zone.verdict]}"
    annotate.title(image, heading, f"worst pose: {pose_words(zone.sweep.worst)}")
    annotate.legend(image, zone.zone.gap_mm)
    annotate.scale_bar(image, camera)
    image.save(path)
    cut = ", the part cut away in front of it" if np.isfinite(near) else ""
    caption = f"Worst spot against {zone.zone.name} ({pose_words(zone.sweep.worst)}), seen across the gap{cut}."
    return Picture(path, caption, zone.zone.name)


def _across_the_gap(
    result: CheckResult, zone: ZoneResult, on_part: Array, on_zone: Array, shape: RayMesh
) -> tuple[Camera, float]:
    """Choose the side from which the gap is seen; cut away what stands in front where no side is free."""
    middle, up = (on_part + on_zone) / 2, _up(result)
    along = unit_vector(on_part - on_zone) if np.linalg.norm(on_part - on_zone) > 1e-6 else zone.sweep.direction
    u = unit_vector(_beside(along, up))
    v = np.cross(along, u)
    angle = 2 * np.pi * np.arange(TRIED_SIDES) / TRIED_SIDES
    sides = np.cos(angle)[:, None] * u + np.sin(angle)[:, None] * v
    spots = middle + (on_zone - middle) * np.array([0.0, 0.5, 0.9])[:, None]
    hidden = np.zeros(len(sides))
    bodies = [shape] if zone.zone.shown is None else [shape, RayMesh(zone.zone.shown.moved(zone.worst_zone_pose))]
    for body in bodies:
        for spot in spots:
            hidden += body.blocked(np.broadcast_to(spot, sides.shape), sides, 0.5)
    best = int(np.argmin(hidden - 0.5 * sides @ up - 0.3 * np.abs(sides @ u)))
    size = max(SMALLEST_VIEW_MM, 5 * float(np.linalg.norm(on_part - on_zone)))
    camera = look(
        target=middle, toward=sides[best], up=up, width=WIDE, height=HIGH, width_mm=size * 1.5, height_mm=size
    )  # fmt: skip
    return camera, -2.0 if hidden[best] else -np.inf


def _draw_faint(canvas: Canvas, zone: ZoneResult) -> None:
    """Draw a zone at its neutral place wherever nothing is drawn yet."""
    if zone.zone.shown is not None:
        shape = RayMesh(zone.zone.shown)
        hits = canvas.hits(shape)
        canvas.surface(shape, hits, np.broadcast_to(PLAIN, (len(hits.face), 3)), faint=0.55, only_behind=True)
    elif zone.zone.points is not None:
        plain = np.broadcast_to(PLAIN, zone.zone.points.shape)
        canvas.points(zone.zone.points, plain, size=1, only_behind=True)


def _draw_at_worst(canvas: Canvas, zone: ZoneResult, about: Array) -> None:
    """Draw a zone at its worst pose: a mesh in its colours, points plain but for those short of the gap."""
    field = zone_field_of(zone)
    if zone.zone.shown is not None:
        shape = RayMesh(zone.zone.shown.moved(zone.worst_zone_pose))
        hits = canvas.hits(shape)
        canvas.surface(shape, hits, _colours_at(field, shape.mesh.faces, hits), faint=0.25)
    canvas.edges()
    if zone.zone.points is not None:
        moved = zone.worst_zone_pose.apply(zone.zone.points)
        near = np.flatnonzero(np.linalg.norm(moved - about, axis=1) < NEAR_POINTS_MM)
        value, gap = field.for_colours()
        near = near[np.argsort(-value[near], kind="stable")]
        colours = np.where((value < gap)[near, None], rgb(value[near], gap[near]), PLAIN).astype(np.uint8)
        canvas.points(moved[near], colours, size=_dot(zone, near, canvas))


def _dot(zone: ZoneResult, near: IntArray, canvas: Canvas) -> int:
    """Size of a scan point, fine pixels: a third of the points' spacing, so that a sheet of them reads as one."""
    if zone.zone.spacing_mm is None or not len(near):
        return SMALLEST_DOT
    wide = 0.35 * float(np.median(zone.zone.spacing_mm[near])) / canvas.camera.mm_per_px * SHARPER
    return int(np.clip(wide, SMALLEST_DOT, LARGEST_DOT))


def _colours_at(field: Field, faces: IntArray, hits: Hits) -> Rgb:
    return rgb(*field.at(faces[hits.face], hits.weights).for_colours())


def _up(result: CheckResult) -> Array:
    rock = result.job.rock
    return unit_vector(rock.up if rock is not None else (0.0, 0.0, 1.0))


def _beside(direction: Array, up: Array) -> Array:
    """Return a direction at right angles to both, any one where they are parallel."""
    across = np.cross(up, direction)
    if np.linalg.norm(across) < 1e-6:
        across = np.cross(np.eye(3)[int(np.argmin(np.abs(direction)))], direction)
    return unit_vector(across)
