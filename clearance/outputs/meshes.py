"""Coloured meshes: PLY with a `clearance_mm` number per vertex, GLB that shows right in ordinary viewers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.outputs.colours import Rgb, rgb, srgb_to_linear
from clearance.outputs.fields import Field, part_field, zone_field_of
from clearance.outputs.record import fix_file
from clearance.outputs.stems import stems
from clearance.scene.mesh import IntArray, Mesh
from clearance.verdict.result import CheckResult

METRES = 0.001
"""glTF 2.0, 3.4: lengths are metres."""


def write_meshes(result: CheckResult, folder: Path) -> None:
    """Write clearance_part and one clearance_zone_<name> as .ply and .glb, bay frame at the neutral pose.

    PLY: mm, sRGB colours, `clearance_mm` of the zone that decides at each vertex. GLB: metres,
    linear colours (glTF 2.0, 3.7.2.1); the axes stay the bay's, whichever of them points up.
    """
    placed = result.part.shown.moved(result.registration.T_bay_part)
    _write(folder / "clearance_part", placed.vertices, placed.faces, part_field(result))
    names = stems(zone.zone.name for zone in result.zones)
    for zone in result.zones:
        stem = folder / f"clearance_zone_{names[zone.zone.name]}"
        mesh, points = zone.zone.shown, zone.zone.points
        if mesh is not None:
            _write(stem, mesh.vertices, mesh.faces, zone_field_of(zone))
        elif points is not None:
            _write(stem, points, np.zeros((0, 3), np.int64), zone_field_of(zone))


def write_fixes(result: CheckResult, folder: Path) -> None:
    """Write the patch of every fix, moved just enough, as PLY: bay frame at the neutral pose, mm."""
    for number, fix in enumerate(result.fixes, 1):
        path = folder / fix_file(number)
        path.parent.mkdir(exist_ok=True)
        comment = f"patch moved {fix.short_mm:.3f} millimetres, bay frame at the neutral pose"
        path.write_bytes(plain_ply(fix.moved, comment))


def plain_ply(mesh: Mesh, comment: str) -> bytes:
    """Return a binary little-endian PLY of a mesh, double precision, mm."""
    header = [
        "ply", "format binary_little_endian 1.0", f"comment {comment}", f"element vertex {len(mesh.vertices)}",
        *(f"property double {axis}" for axis in "xyz"), f"element face {len(mesh.faces)}",
        "property list uchar int vertex_indices", "end_header", "",
    ]  # fmt: skip
    faces: NDArray[np.void] = np.empty(len(mesh.faces), dtype=[("n", "u1"), ("corners", "<i4", (3,))])
    faces["n"], faces["corners"] = 3, mesh.faces
    return "\n".join(header).encode("ascii", "replace") + mesh.vertices.astype("<f8").tobytes() + faces.tobytes()


def _write(stem: Path, vertices: Array, faces: IntArray, field: Field) -> None:
    value, _, _ = field.deciding()
    colours = rgb(*field.for_colours())
    stem.with_suffix(".ply").write_bytes(_ply(vertices, faces, colours, value))
    stem.with_suffix(".glb").write_bytes(_glb(vertices, faces, colours))


def _ply(vertices: Array, faces: IntArray, colours: Rgb, value: Array) -> bytes:
    """Return a binary little-endian PLY."""
    kinds = [("x", "<f8"), ("y", "<f8"), ("z", "<f8"), ("red", "u1"), ("green", "u1"), ("blue", "u1"), ("c", "<f4")]
    body = np.empty(len(vertices), dtype=kinds)
    for i, axis in enumerate("xyz"):
        body[axis] = vertices[:, i]
    for i, channel in enumerate(("red", "green", "blue")):
        body[channel] = colours[:, i]
    body["c"] = value
    header = [
        "ply", "format binary_little_endian 1.0", "comment millimetres, bay frame at the neutral pose",
        f"element vertex {len(vertices)}", *(f"property double {axis}" for axis in "xyz"),
        *(f"property uchar {channel}" for channel in ("red", "green", "blue")), "property float clearance_mm",
    ]  # fmt: skip
    triangles: NDArray[np.void] = np.empty(len(faces), dtype=[("n", "u1"), ("corners", "<i4", (3,))])
    if len(faces):
        header += [f"element face {len(faces)}", "property list uchar int vertex_indices"]
        triangles["n"], triangles["corners"] = 3, faces
    return ("\n".join([*header, "end_header"]) + "\n").encode() + body.tobytes() + triangles.tobytes()


def _glb(vertices: Array, faces: IntArray, colours: Rgb) -> bytes:
    """Return a GLB; the middle is moved to a node so that single precision holds small numbers."""
    linear = np.round(srgb_to_linear(colours) * 255).astype(np.uint8)
    rgba = np.hstack([linear, np.full((len(linear), 1), 255, np.uint8)])
    middle = vertices.mean(axis=0)
    near = (vertices - middle) * METRES
    shape: trimesh.Trimesh | trimesh.PointCloud
    if len(faces):
        shape = trimesh.Trimesh(near, faces, vertex_colors=rgba, process=False)
    else:
        shape = trimesh.PointCloud(near, colors=rgba)
    place = np.eye(4)
    place[:3, 3] = middle * METRES
    scene = trimesh.Scene()
    scene.add_geometry(shape, node_name="clearance", geom_name="clearance", transform=place)
    return bytes(scene.export(file_type="glb"))
