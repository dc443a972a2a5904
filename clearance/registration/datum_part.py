"""Datums of the part: taken from the model as stated, once they are seen to lie on its surface."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import igl
import numpy as np

from clearance.errors import InputError
from clearance.frames import Array, unit_vector
from clearance.job.datum import Datum
from clearance.registration.datum_result import across
from clearance.scene.mesh import Mesh

OFF_MM, OFF_DEGREES = 1.0, 5.0
"""How far a datum may lie from the surface of the model, and its normal from the surface's."""

RIM = 16
"""Places round a hole's or stud's rim that are looked for on the surface."""

LEANING = 0.5
"""Cosine between a face's normal and an axis below which the axis does not cross the face, or an edge lies along it."""


@dataclass(frozen=True, eq=False)
class PartDatum:
    """A datum of the part, part frame, mm.

    Attributes
    ----------
    name, kind : str
    points : (1 or 2, 3) float64
        Point of the face; centre of the hole or stud in the plane of its face; both ends of the edge.
    direction : (3,) float64, unit
        Normal out of the material; axis; from first end to second.
    arm : float
        Radius of the face; 0 for the others.
    """

    name: str
    kind: str
    points: Array
    direction: Array
    arm: float = 0.0

    @property
    def is_axis(self) -> bool:
        """Whether it is a hole or a stud."""
        return self.kind in ("hole", "stud")


def part_datums(datums: list[Datum], part: Mesh, job_file: Path) -> list[PartDatum]:
    """Return the part's datums, centres of holes and studs moved along their axes into the plane of their face.

    Raises
    ------
    InputError
        If one does not lie on the part's surface, or an edge lies along no face.
    """
    found = [_datum(datum, part, job_file) for datum in datums]
    faces = [datum for datum in found if datum.kind == "face"]
    for datum in found:
        if datum.kind == "edge" and all(abs(face.direction @ datum.direction) > LEANING for face in faces):
            wanted = "name an edge that lies along the face the part is seated on"
            raise InputError(job_file, "stands on every face that is paired", wanted, f"datum '{datum.name}': edge")
    return [_in_face(datum, faces) if datum.is_axis else datum for datum in found]


def _datum(datum: Datum, part: Mesh, job_file: Path) -> PartDatum:
    if datum.face is not None:
        point, normal = np.array([datum.face.point]), unit_vector(datum.face.normal)
        face = _on_surface(point, datum, "its point", part, job_file)[0]
        _check_normal(normal, part.triangles[face], datum, job_file)
        return PartDatum(datum.name, "face", point, normal, datum.face.radius)
    if datum.edge is not None:
        ends = np.array([datum.edge.from_, datum.edge.to])
        _on_surface(np.vstack([ends, ends.mean(axis=0)]), datum, "its line", part, job_file)
        return PartDatum(datum.name, "edge", ends, unit_vector(ends[1] - ends[0]))
    assert datum.round is not None
    centre, axis = np.array([datum.round.center]), unit_vector(datum.round.axis)
    angle = 2 * np.pi * np.arange(RIM) / RIM
    rim = centre + datum.round.diameter / 2 * np.column_stack([np.cos(angle), np.sin(angle)]) @ across(axis)
    _on_surface(rim, datum, "its rim", part, job_file)
    return PartDatum(datum.name, datum.kind, centre, axis)


def _on_surface(points: Array, datum: Datum, what: str, part: Mesh, job_file: Path) -> Array:
    """Return the nearest triangle of each point. Raises InputError if one is far from the surface."""
    squared, face, _ = igl.point_mesh_squared_distance(np.ascontiguousarray(points), part.vertices, part.faces)
    away = float(np.sqrt(np.max(squared)))
    if away > OFF_MM:
        found = f"{what} lies {away:.1f} mm off the part's surface"
        wanted = f"state it on the model to within {OFF_MM:g} mm, in the part's frame"
        raise InputError(job_file, found, wanted, f"datum '{datum.name}': {datum.kind}")
    return np.asarray(face)


def _check_normal(normal: Array, triangle: Array, datum: Datum, job_file: Path) -> None:
    outward = unit_vector(np.cross(triangle[1] - triangle[0], triangle[2] - triangle[0]))
    turned = float(np.degrees(np.arccos(np.clip(outward @ normal, -1, 1))))
    if turned > OFF_DEGREES:
        shown = ", ".join(f"{x:.3f}" for x in outward + 0.0)
        found = f"its normal is {turned:.0f} degrees from the part's surface there, which looks along [{shown}]"
        wanted = "write that normal, or move the point"
        raise InputError(job_file, found, wanted, f"datum '{datum.name}': face.normal")


def _in_face(datum: PartDatum, faces: list[PartDatum]) -> PartDatum:
    """Return a hole or stud with its centre where the axis crosses the face most square to it."""
    square = max(faces, key=lambda face: abs(float(face.direction @ datum.direction)))
    slope = float(square.direction @ datum.direction)
    if abs(slope) < LEANING:
        return datum
    along = ((square.points - datum.points) @ square.direction) / slope
    return PartDatum(datum.name, datum.kind, datum.points + along[:, None] * datum.direction, datum.direction)
