"""What a user looks at: the room as a coloured mesh and a picture, the blank as a mesh and a picture."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import trimesh

from clearance.frames import Array, unit_vector
from clearance.layout.layout import Layout
from clearance.outputs import annotate
from clearance.outputs.camera import Camera, fit
from clearance.outputs.colours import Rgb, rgb
from clearance.outputs.meshes import ply
from clearance.outputs.raycast import Hits, RayMesh
from clearance.outputs.render import Canvas
from clearance.scene.mesh import Mesh
from clearance.shield.blank import Blank
from clearance.shield.room import Room
from clearance.shield.surface import Mask, face_areas

WIDE, HIGH = 1200, 800

ROOM_PLY, ROOM_PNG = "shield_room.ply", "shield_room.png"
BLANK_STL, BLANK_PNG = "shield_blank.stl", "shield_blank.png"

PART = np.array([0x9A, 0x9E, 0xA6], np.uint8)
SHEET = np.array([0xE0, 0x9F, 0x3E], np.uint8)
ZONE = np.array([0xB8, 0xB4, 0xAC], np.uint8)
NOT_NEEDED = 0.75
"""By how much surface that needs no shield is faded."""


def write_room(room: Room, need_faces: Mask, build_mm: float, folder: Path, up: Array) -> tuple[Path, Path]:
    """Write the room into an existing folder as PLY (number `room_mm` per vertex) and picture; return both files.

    Colours break where a build of `build_mm` (standoff, sheet and air) just fits. In the picture,
    triangles other than `need_faces` are faded. Bay frame, neutral pose, mm. Raises OSError.
    """
    mesh, picture = folder / ROOM_PLY, folder / ROOM_PNG
    part = room.part
    mesh.write_bytes(ply(part.vertices, part.faces, rgb(room.room_mm, build_mm), room.room_mm, "room_mm"))
    camera = fit(part.vertices, toward=_side(part, need_faces, up), up=up, width=WIDE, height=HIGH, border=0.14)
    canvas, shape = Canvas(camera), RayMesh(part)
    hits = canvas.hits(shape)
    value = (room.room_mm[part.faces[hits.face]] * hits.weights).sum(axis=1)
    canvas.surface(shape, hits, _faded(rgb(value, build_mm), need_faces[hits.face]))
    canvas.edges()
    image = canvas.image()
    share = _percent(room.share_that_fits(build_mm, need_faces))
    annotate.title(
        image,
        f"Room for a heat shield: a build of {build_mm:g} mm is proven to fit on {share} % of the needed area",
        "standoff, sheet and air together, over the whole motion; faded: needs none",
    )
    annotate.legend(image, build_mm, "room")
    annotate.scale_bar(image, camera)
    image.save(picture)
    return mesh, picture


def write_blank(blank: Blank, layout: Layout, need_faces: Mask, folder: Path, up: Array) -> tuple[Path, Path]:
    """Write the sheet as STL in the part's own frame, mm, and a picture of it on the part; return both files.

    Raises
    ------
    ValueError
        Nothing of the blank is left.
    OSError
    """
    if not len(blank.solid.faces):
        raise ValueError("nothing is left of the blank")
    mesh, picture = folder / BLANK_STL, folder / BLANK_PNG
    own = blank.solid.moved(layout.setting.registration.T_bay_part.inverse())
    mesh.write_bytes(trimesh.Trimesh(own.vertices, own.faces, process=False).export(file_type="stl"))
    part = layout.setting.part.shown
    camera = _camera(part, blank, _side(part, need_faces, up), up)
    canvas = Canvas(camera)
    for shape, colour in ((RayMesh(part), PART), (RayMesh(blank.solid), SHEET)):
        hits = canvas.hits(shape)
        canvas.surface(shape, hits, _plain(colour, hits))
    canvas.edges()
    for zone in layout.zones.zones:
        if zone.points is not None:
            canvas.points(zone.points, np.broadcast_to(ZONE, zone.points.shape), size=1, only_behind=True)
        elif zone.shown is not None:
            shape = RayMesh(zone.shown)
            hits = canvas.hits(shape)
            canvas.surface(shape, hits, _plain(ZONE, hits), faint=0.5, only_behind=True)
    image = canvas.image()
    told = "clears every zone" if blank.fits else "not proven to clear every zone"
    covers = f"stops {_percent(blank.covered_share)} % of the heat's lines"
    annotate.title(
        image,
        f"Shield blank: {blank.area_mm2 / 100:.0f} sq. cm, {covers}, {told}",
        f"{blank.to_part_mm:.1f} to {blank.farthest_mm:.0f} mm off the part, sheet {blank.wish.sheet_mm:g} mm; "
        f"{math.ceil(100 * blank.lost_share - 1e-9)} % of it was cut away to clear the zones",
    )
    annotate.scale_bar(image, camera)
    image.save(picture)
    return mesh, picture


def _side(part: Mesh, need_faces: Mask, up: Array) -> Array:
    """Return the direction from which most of the needed surface is seen, a little from above."""
    a, b, c = part.triangles[need_faces].swapaxes(0, 1)
    mean = np.cross(b - a, c - a).sum(axis=0) / (2 * max(float(face_areas(part)[need_faces].sum()), 1e-9))
    beside = np.cross(up, np.eye(3)[int(np.argmin(np.abs(up)))])
    return unit_vector(mean + 0.35 * unit_vector(up) + 0.25 * unit_vector(beside))


def _camera(part: Mesh, blank: Blank, toward: Array, up: Array) -> Camera:
    """Show the blank with the part around it for half its size."""
    low, high = blank.solid.vertices.min(axis=0), blank.solid.vertices.max(axis=0)
    around = float(np.linalg.norm(high - low)) / 2
    inside = ((part.vertices > low - around) & (part.vertices < high + around)).all(axis=1)
    seen = np.concatenate([blank.solid.vertices, part.vertices[inside]])
    return fit(seen, toward=toward, up=up, width=WIDE, height=HIGH, border=0.14)


def _percent(share: float) -> int:
    """Whole percent, rounded down: what is proven is never told as more."""
    return int(100 * share + 1e-9)


def _plain(colour: Rgb, hits: Hits) -> Rgb:
    return np.broadcast_to(colour, (len(hits.face), 3))


def _faded(colours: Rgb, needed: Mask) -> Rgb:
    """Fade towards white what is not needed."""
    pale = np.where(needed, 0.0, NOT_NEEDED)[:, None]
    faded: Rgb = np.round(colours + pale * (235.0 - colours)).astype(np.uint8)
    return faded
