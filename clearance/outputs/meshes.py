"""Coloured meshes: PLY with a `clearance_mm` number per vertex, GLB that shows right in ordinary viewers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import trimesh
from numpy.typing import NDArray

from clearance.frames import Array, unit_vector
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
    linear colours (glTF 2.0, 3.7.2.1), turned so that the job's up is +Y and its forward +Z (3.4).
    """
    turned = upright(*_up_and_forward(result))
    placed = result.part.shown.moved(result.registration.T_bay_part)
    _write(folder / "clearance_part", placed.vertices, placed.faces, part_field(result), turned)
    names = stems(zone.zone.name for zone in result.zones)
    for zone in result.zones:
        stem = folder / f"clearance_zone_{names[zone.zone.name]}"
        mesh, points = zone.zone.shown, zone.zone.points
        if mesh is not None:
            _write(stem, mesh.vertices, mesh.faces, zone_field_of(zone), turned)
        elif points is not None:
            _write(stem, points, np.zeros((0, 3), np.int64), zone_field_of(zone), turned)


def upright(up: Array, forward: Array) -> Array:
    """Return the (3, 3) rotation that brings `up` to +Y and `forward`, as far as it is square to that, to +Z."""
    y = unit_vector(up)
    level = forward - (forward @ y) * y
    if np.linalg.norm(level) < 1e-6 * np.linalg.norm(forward):
        level = np.cross(y, np.eye(3)[int(np.argmin(np.abs(y)))])
    z = unit_vector(level)
    return np.stack([np.cross(y, z), y, z])


def _up_and_forward(result: CheckResult) -> tuple[Array, Array]:
    rock = result.job.rock
    if rock is None:
        return np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0])
    return np.array(rock.up), np.array(rock.forward)


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


def _write(stem: Path, vertices: Array, faces: IntArray, field: Field, turned: Array) -> None:
    value, _, _ = field.deciding()
    colours = rgb(*field.for_colours())
    stem.with_suffix(".ply").write_bytes(ply(vertices, faces, colours, value))
    stem.with_suffix(".glb").write_bytes(_glb(vertices, faces, colours, turned))


def ply(vertices: Array, faces: IntArray, colours: Rgb, value: Array, named: str = "clearance_mm") -> bytes:
    """Return a binary little-endian PLY; `value` per vertex becomes the number `named`."""
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
        *(f"property uchar {channel}" for channel in ("red", "green", "blue")), f"property float {named}",
    ]  # fmt: skip
    triangles: NDArray[np.void] = np.empty(len(faces), dtype=[("n", "u1"), ("corners", "<i4", (3,))])
    if len(faces):
        header += [f"element face {len(faces)}", "property list uchar int vertex_indices"]
        triangles["n"], triangles["corners"] = 3, faces
    return ("\n".join([*header, "end_header"]) + "\n").encode() + body.tobytes() + triangles.tobytes()


def _glb(vertices: Array, faces: IntArray, colours: Rgb, turned: Array) -> bytes:
    """Return a GLB; the middle is moved to a node so that single precision holds small numbers."""
    linear = np.round(srgb_to_linear(colours) * 255).astype(np.uint8)
    rgba = np.hstack([linear, np.full((len(linear), 1), 255, np.uint8)])
    middle = vertices.mean(axis=0)
    near = (vertices - middle) @ turned.T * METRES
    shape: trimesh.Trimesh | trimesh.PointCloud
    if len(faces):
        shape = trimesh.Trimesh(near, faces, vertex_colors=rgba, process=False)
    else:
        shape = trimesh.PointCloud(near, colors=rgba)
    place = np.eye(4)
    place[:3, 3] = turned @ middle * METRES
    scene = trimesh.Scene()
    scene.add_geometry(shape, node_name="clearance", geom_name="clearance", transform=place)
    return bytes(scene.export(file_type="glb"))
