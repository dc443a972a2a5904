"""Contact faces: leave out of the clearance what a face of the part is meant to touch, and nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import igl
import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from clearance.frames import Array, Pose, unit_vector
from clearance.job.schema import Job
from clearance.scene.cut_disc import Disc, cut_disc
from clearance.scene.mesh import Mesh
from clearance.scene.mesh_health import surface_area
from clearance.scene.part import Part
from clearance.scene.refine import edge_limit, refined
from clearance.scene.zone import Zone

Mask = NDArray[np.bool_]

STEP_MM = 0.2
"""Step left on an as-printed sealing face, which is sanded flat before use (common practice)."""

SIGMAS = 3.0
LOST_POINTS = 0.01
"""Points of a plane that noise may be expected to lift out of the slack, so that a large face is not torn by chance."""

PROUD_MM = 5.0
"""How far on the part's side of the plane the middle of a hole in the mating surface may be found."""

PIECE_MM = 1.0
"""Pieces of a mesh that the part may go through are told apart to this size; narrower pins are not seen."""


@dataclass(frozen=True, eq=False, kw_only=True)
class PlacedFace:
    """A face of the part that is meant to touch, bay frame, neutral pose.

    Attributes
    ----------
    name : str
        Of its datum.
    point, normal : (3,) float64
        Middle of the disc, mm; unit vector out of the part.
    radius_mm : float
    part : Mesh
        The whole part, bay frame: where it goes through the face's plane, nothing is left out.
    """

    name: str
    point: Array
    normal: Array
    radius_mm: float
    part: Mesh


@dataclass(frozen=True, kw_only=True)
class ContactMask:
    """What was left out of one zone, over all faces.

    `points` scan points and `area_mm2` of mesh were left out. Of the scan points within the discs that
    still count, `proud` stand on the part's side of the plane and `behind` on the other (the walls of a
    port or a bolt hole, say), both within the face's radius of the plane. `kept` points, or mesh with
    `kept_mesh`, lie on the plane but where the part goes through it.
    """

    points: int = 0
    area_mm2: float = 0.0
    proud: int = 0
    behind: int = 0
    kept: int = 0
    kept_mesh: bool = False

    def plus(self, other: ContactMask) -> ContactMask:
        """Return what was left out by either."""
        return ContactMask(
            points=self.points + other.points,
            area_mm2=self.area_mm2 + other.area_mm2,
            proud=self.proud + other.proud,
            behind=self.behind + other.behind,
            kept=self.kept + other.kept,
            kept_mesh=self.kept_mesh or other.kept_mesh,
        )


def placed_faces(job: Job, part: Part, T_bay_part: Pose) -> tuple[PlacedFace, ...]:
    """Return the faces named by `part.contact`; `part` is already in the bay's frame."""
    faces = {d.name: d.face for d in job.datums if d.on == "part" and d.face is not None}
    return tuple(
        PlacedFace(
            name=name,
            point=T_bay_part.apply(np.array(faces[name].point)),
            normal=T_bay_part.rotation @ unit_vector(faces[name].normal),
            radius_mm=faces[name].radius,
            part=part.mesh,
        )
        for name in job.part.contact
    )


def reach_mm(face: PlacedFace, slack_mm: float) -> float | None:
    """Return how far from its middle, mm, the part has surface on a face's plane within its disc; None where none.

    `slack_mm`: how far off the plane that may be.
    """
    height, _ = _heights(face.part.vertices, face)
    flat = (np.abs(height[face.part.faces]) <= slack_mm).all(axis=1)
    _, inside = cut_disc(Mesh(face.part.vertices, face.part.faces[flat]), Disc(face.point, face.normal, face.radius_mm))
    if not len(inside.faces):
        return None
    return float(_heights(inside.vertices[np.unique(inside.faces)], face)[1].max())


def covers(face: PlacedFace, place: Array, size_mm: float) -> bool:
    """Tell whether a hole `size_mm` wide at `place` (3,), bay, mm, is one in the surface that the face covers.

    Behind the surface it may be as deep as it is wide; on the part's side of it there is something else to see.
    """
    height, away = _heights(place[None], face)
    return bool(away[0] <= face.radius_mm and -PROUD_MM <= height[0] <= size_mm)


def contact_slack_mm(noise_mm: float, placement_mm: float, points: int) -> float:
    """Return how far from the mating plane a scan point may lie and still be taken for it, mm.

    The as-printed step, plus 3 sigma of the placement along the normal and 3 sigma of noise (more where
    so many `points` would leave chance ones outside), added as squares.
    """
    chance = float(norm.isf(LOST_POINTS / 2 / max(points, 1)))
    return STEP_MM + float(np.hypot(max(SIGMAS, chance) * noise_mm, SIGMAS * placement_mm))


def without_contact(zone: Zone, faces: Sequence[PlacedFace], slack_mm: float) -> tuple[Zone, ContactMask]:
    """Return the zone without what the faces are meant to touch, and how much that was.

    A scan point is left out if it lies within `slack_mm` of a face's plane and within its disc, whatever
    of the part it is near, unless the part goes through the plane there by more than `slack_mm`.
    Triangles of a mesh that lie within the slack of the plane, and face the part if the mesh is closed,
    are cut along the disc (`clearance.scene.cut_disc`: never more, up to 0.05 mm less) and lose what is
    inside. A mesh that is cut no longer bounds a solid; a closed one into which the part reaches behind
    the plane is left whole. A zone all of whose points touch has none left: the caller must not measure it.
    """
    lost, solid = ContactMask(), zone.mesh if zone.closed else None
    for face in faces:
        zone, more = _points_without(zone, face, slack_mm)
        zone, mesh = _mesh_without(zone, solid, face, slack_mm)
        lost = lost.plus(more).plus(mesh)
    return zone, lost


def _points_without(zone: Zone, face: PlacedFace, slack: float) -> tuple[Zone, ContactMask]:
    """Leave out the scan points, strays too, that touch."""
    touching, through, height = _touching(zone.stray_points, face, slack)
    zone, lost = replace(zone, stray_points=zone.stray_points[~touching]), _counts(touching, through, height, slack)
    if zone.beside is not None:
        zone = replace(zone, beside=zone.beside[~_touching(zone.beside, face, slack)[0]])
    if zone.points is None:
        return zone, lost
    touching, through, height = _touching(zone.points, face, slack)
    spacing = None if zone.spacing_mm is None else zone.spacing_mm[~touching]
    raw = zone.raw_points
    raw = None if raw is None else raw[~_touching(raw, face, slack)[0]]
    zone = replace(zone, points=zone.points[~touching], raw_points=raw, spacing_mm=spacing)
    return zone, lost.plus(_counts(touching, through, height, slack))


def _counts(touching: Mask, through: Mask, height: Array, slack: float) -> ContactMask:
    return ContactMask(
        points=int(touching.sum()),
        proud=int((height < -slack).sum()),
        behind=int((height > slack).sum()),
        kept=int(through.sum()),
    )


def _touching(points: Array, face: PlacedFace, slack: float) -> tuple[Mask, Mask, Array]:
    """Tell which points touch, which lie on the plane but in the part's way, and the heights of those in the disc."""
    height, away = _heights(points, face)
    in_disc = away <= face.radius_mm
    on_plane = in_disc & (np.abs(height) <= slack)
    through = np.zeros(len(points), dtype=bool)
    through[on_plane] = _goes_through(points[on_plane] - height[on_plane, None] * face.normal, face, slack)
    return on_plane & ~through, through, height[in_disc & (np.abs(height) <= face.radius_mm)]


def _heights(points: Array, face: PlacedFace) -> tuple[Array, Array]:
    """Return heights (n,) above the face, out of the part, and distances (n,) from the disc's axis."""
    offset = points - face.point
    height = offset @ face.normal
    return height, np.linalg.norm(offset - height[:, None] * face.normal, axis=1)


def _goes_through(feet: Array, face: PlacedFace, slack: float) -> Mask:
    """Tell at which (n, 3) places of the plane the part reaches past it by `slack`."""
    if not len(feet) or _heights(face.part.vertices, face)[0].max() <= slack:
        return np.zeros(len(feet), dtype=bool)
    return _inside(face.part, feet + slack * face.normal)


def _inside(mesh: Mesh, points: Array) -> Mask:
    """Tell which (n, 3) points a mesh winds about, more than half a turn."""
    middle = mesh.vertices.mean(axis=0)
    turns = igl.fast_winding_number(
        np.ascontiguousarray(mesh.vertices - middle),
        np.ascontiguousarray(mesh.faces),
        np.ascontiguousarray(points - middle),
    )
    return np.abs(np.asarray(turns, np.float64)) > 0.5


def _mesh_without(zone: Zone, solid: Mesh | None, face: PlacedFace, slack: float) -> tuple[Zone, ContactMask]:
    """Cut the zone's meshes; `solid` is what the zone's mesh bounded before anything was cut."""
    if zone.mesh is None:
        return zone, ContactMask()
    cut, removed, kept = _cut(zone.mesh, solid is not None, face, slack)
    if removed == 0:
        return zone, ContactMask(kept_mesh=kept)
    if solid is not None and _reaches_into(solid, face, slack):
        return zone, ContactMask(kept_mesh=True)
    shown = None if zone.shown is None else _cut(zone.shown, solid is not None, face, slack)[0]
    return replace(zone, mesh=cut, shown=shown, closed=False), ContactMask(area_mm2=removed, kept_mesh=kept)


def _cut(mesh: Mesh, oriented: bool, face: PlacedFace, slack: float) -> tuple[Mesh, float, bool]:
    """Return the mesh without what touches, the area taken, mm2, and whether something was in the part's way."""
    flat = _flat(mesh, oriented, face, slack)
    outside, inside = cut_disc(Mesh(mesh.vertices, mesh.faces[flat]), Disc(face.point, face.normal, face.radius_mm))
    if not len(inside.faces):
        return mesh, 0.0, False
    taken, in_the_way = _in_the_way(inside, face, slack)
    pieces = [Mesh(mesh.vertices, mesh.faces[~flat]), outside, in_the_way]
    return _joined(pieces), surface_area(taken), bool(len(in_the_way.faces))


def _flat(mesh: Mesh, oriented: bool, face: PlacedFace, slack: float) -> Mask:
    """Tell which triangles lie within the slack of the plane and, if they have an outside, turn it to the part."""
    height, _ = _heights(mesh.vertices, face)
    flat = (np.abs(height[mesh.faces]) <= slack).all(axis=1)
    if oriented:
        a, b, c = mesh.triangles.swapaxes(0, 1)
        flat &= np.cross(b - a, c - a) @ face.normal < 0
    return np.asarray(flat)


def _reaches_into(mesh: Mesh, face: PlacedFace, slack: float) -> bool:
    """Tell whether a corner of the part lies in the solid, past the plane by more than `slack`."""
    height, _ = _heights(face.part.vertices, face)
    past = face.part.vertices[height > slack]
    return bool(len(past)) and bool(_inside(mesh, past).any())


def _in_the_way(inside: Mesh, face: PlacedFace, slack: float) -> tuple[Mesh, Mesh]:
    """Split what lies in the disc into what touches and what the part goes through."""
    if _heights(face.part.vertices, face)[0].max() <= slack:
        return inside, Mesh(inside.vertices, inside.faces[:0])
    fine = refined(inside, edge_limit(inside, PIECE_MM))
    height, _ = _heights(fine.vertices, face)
    corners = _goes_through(fine.vertices - height[:, None] * face.normal, face, slack)
    through = corners[fine.faces].any(axis=1)
    return Mesh(fine.vertices, fine.faces[~through]), Mesh(fine.vertices, fine.faces[through])


def _joined(meshes: Sequence[Mesh]) -> Mesh:
    """Return meshes as one, with the vertices that are used."""
    start = np.cumsum([0, *(len(m.vertices) for m in meshes)])
    vertices = np.concatenate([m.vertices for m in meshes])
    faces = np.concatenate([m.faces + s for m, s in zip(meshes, start, strict=False)])
    used, renamed = np.unique(faces, return_inverse=True)
    return Mesh(vertices[used], np.asarray(renamed, np.int64).reshape(-1, 3))
