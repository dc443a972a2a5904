"""The picture of a placement: the scan over what was placed in it, coloured by how far it lies off the surface."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import igl
import numpy as np
from PIL import Image, ImageDraw

from clearance.errors import InputError
from clearance.frames import Array, unit_vector
from clearance.outputs import annotate
from clearance.outputs.camera import fit
from clearance.outputs.colours import Rgb
from clearance.outputs.raycast import RayMesh
from clearance.outputs.render import Canvas
from clearance.registration.result import Registration
from clearance.scene.mesh import Mesh

WIDE, HIGH = 800, 700
STEPS_MM = (0.25, 0.5, 1.0, 2.0, 5.0)
"""Distances at which the colour changes; points beyond the last are drawn small and grey."""

INKS: tuple[tuple[int, int, int], ...] = (
    (0xF4, 0xE2, 0x8E), (0xE3, 0xA6, 0x55), (0xC7, 0x66, 0x4E), (0x8E, 0x31, 0x57), (0x3C, 0x14, 0x4F),
)  # fmt: skip
FAR_INK, SURFACE = (0xA6, 0xA6, 0xA2), (0xC9, 0xCC, 0xCE)
NEAR_MM = 40.0
"""Scan points farther than this from the placed surface are left out."""

MOST_POINTS = 400_000
"""Points drawn at most, thinned evenly."""


def write_placement_picture(registration: Registration, model: Mesh, scan_points: Array, path: Path) -> None:
    """Write a PNG of two opposite views of `model` placed, with the scan points within 40 mm of it.

    Where a search left a next best place it is shown below.

    Parameters
    ----------
    model : Mesh
        Frame that the registration maps into the bay, mm.
    scan_points : (n, 3) float64, mm, bay frame

    Raises
    ------
    InputError
        If the file cannot be written. It is written whole or not at all.
    """
    places = [registration.T_bay_part]
    if registration.runner_up is not None:
        places.append(registration.runner_up)
    image = Image.new("RGB", (2 * WIDE, len(places) * HIGH + 60), (0xFF, 0xFF, 0xFF))
    for row, place in enumerate(places):
        placed = model.moved(place)
        points, away, normal = _near(placed, scan_points)
        toward = unit_vector(normal) if np.linalg.norm(normal) > 1e-6 else unit_vector((0.4, -0.8, 0.45))
        for column, side in enumerate((toward, -toward)):
            image.paste(_view(placed, points, away, side), (column * WIDE, 60 + row * HIGH))
    state = "" if registration.converged else ": NOT settled"
    below = "two opposite sides" if len(places) == 1 else "two opposite sides; below, the next best place"
    annotate.title(image, f"Scan over the placed surface, by {registration.method}{state}", below)
    _legend(image)
    _save(image, path)


def _near(placed: Mesh, scan_points: Array) -> tuple[Array, Array, Array]:
    """Return the scan points near the surface, their distances (n,), mm, and the mean normal of what they show."""
    low, high = placed.vertices.min(axis=0) - NEAR_MM, placed.vertices.max(axis=0) + NEAR_MM
    points = scan_points[((scan_points >= low) & (scan_points <= high)).all(axis=1)]
    points = points[:: max(1, len(points) // MOST_POINTS)]
    if not len(points):
        return points, np.zeros(0), np.zeros(3)
    squared, face, _ = igl.point_mesh_squared_distance(np.ascontiguousarray(points), placed.vertices, placed.faces)
    away = np.sqrt(np.asarray(squared))
    keep = away <= NEAR_MM
    a, b, c = placed.triangles[np.asarray(face)[keep & (away < STEPS_MM[-1])]].swapaxes(0, 1)
    return points[keep], away[keep], np.cross(b - a, c - a).sum(axis=0)


def _view(placed: Mesh, points: Array, away: Array, toward: Array) -> Image.Image:
    up = np.array([0.0, 0.0, 1.0]) if abs(toward[2]) < 0.95 else np.array([1.0, 0.0, 0.0])
    camera = fit(placed.vertices, toward=toward, up=up, width=WIDE, height=HIGH, border=0.12)
    canvas, shape = Canvas(camera), RayMesh(placed)
    hits = canvas.hits(shape)
    canvas.surface(shape, hits, np.broadcast_to(np.array(SURFACE, np.uint8), (len(hits.face), 3)))
    canvas.edges()
    # A point on the surface is drawn, not buried in it by noise: it is lifted towards the eye by a step of the scale.
    lifted = points + STEPS_MM[2] * toward
    far = away >= STEPS_MM[-1]
    canvas.points(lifted[far], np.broadcast_to(np.array(FAR_INK, np.uint8), (int(far.sum()), 3)), size=2)
    worst_first = np.argsort(-away[~far], kind="stable")
    canvas.points(lifted[~far][worst_first], _inks(away[~far][worst_first]), size=3)
    image = canvas.image()
    annotate.scale_bar(image, camera)
    return image


def _inks(away: Array) -> Rgb:
    return np.array(INKS, np.uint8)[np.searchsorted(STEPS_MM[:-1], away, side="right")]


def _legend(image: Image.Image) -> None:
    """Write the steps of the colour scale, words with each, into the top right corner."""
    draw, right = ImageDraw.Draw(image), 2 * WIDE - 20
    names = [f"to {step:g} mm" for step in STEPS_MM] + ["farther"]
    for place, (ink, name) in enumerate(zip((*INKS, FAR_INK), names, strict=True)):
        x = right - (len(names) - place) * 110
        draw.rectangle((x, 14, x + 24, 34), fill=ink, outline=annotate.INK)
        draw.text((x + 30, 15), name, fill=annotate.INK, font=annotate.font(15))


def _save(image: Image.Image, path: Path) -> None:
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".unfinished", dir=path.parent)
        os.close(handle)
        try:
            image.save(name, format="PNG")
            Path(name).chmod(0o644)
            Path(name).replace(path)
        finally:
            Path(name).unlink(missing_ok=True)
    except OSError as fault:
        wanted = "choose another place; nothing was written"
        raise InputError(path, f"cannot be written ({fault.strerror or fault})", wanted, "-o") from fault
