"""A zone as what gets hot: its surface points, which way they face, and their temperatures beside the part."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial import cKDTree

from clearance.distance.inside import Surface
from clearance.frames import Array
from clearance.heat.cavity import bridged_mm
from clearance.heat.emitter import Emitter, Seen
from clearance.heat.sight import RAYS
from clearance.heat.surface_temperature import Elements, Sheets, Surroundings, bare, shielded
from clearance.scene.mesh import IntArray, Mesh
from clearance.scene.zone import Zone

NEAREST = 12
"""Points of a scan through which the plane at each is laid."""

LENGTH_M = (0.02, 1.0)
"""Least and most length of a zone along which air is taken to flow."""

SHOWN_FACTOR = 0.01
"""View factor above which a point counts for the length of what is heated."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Neighbour:
    """Surface points of a zone, bay frame.

    Attributes
    ----------
    points, normals : (n, 3) float64
        mm, and unit vectors out of the surface, towards the part where the zone does not tell its outside.
    gap_mm : (n,) float64
        Distance from the part, negative inside it.
    near : (n,) int64
        The part's nearest triangle.
    away : (n, 3) float64
        From the part's nearest point to each, mm.
    emissivity : float
    """

    points: Array
    normals: Array
    gap_mm: Array
    near: IntArray
    away: Array
    emissivity: float

    def at(self, index: IntArray) -> Neighbour:
        """Return some of the points."""
        rows = {key: getattr(self, key)[index] for key in ("points", "normals", "gap_mm", "near", "away")}
        return replace(self, **rows)


@dataclass(frozen=True, eq=False, kw_only=True)
class Source:
    """The hot part, and the surface of the shield about it where there is one.

    Attributes
    ----------
    part : Emitter
    surface : Surface
        The part's, for distances; its triangles are those of `part.mesh`.
    outer : Emitter or None
        The outer face of the last sheet: the part's mesh moved out along its normals.
    sheets : Sheets or None
    build_mm : float
        From the part to the outer face of the last sheet.
    emissivity : float
        Of the part behind a shield: the largest of its regions.
    up : (3,) float64
    """

    part: Emitter
    surface: Surface
    outer: Emitter | None = None
    sheets: Sheets | None = None
    build_mm: float = 0.0
    emissivity: float
    up: Array


def neighbour_of(zone: Zone, surface: Surface, emissivity: float) -> Neighbour:
    """Return the surface points of a zone: scan points, or the middles of a mesh's triangles."""
    if zone.points is not None:
        points = zone.points
        normals, known = _plane_normals(points), False
    else:
        mesh = zone.shown if zone.shown is not None else zone.mesh
        assert mesh is not None
        corners = mesh.triangles
        points, known = corners.mean(axis=1), zone.closed
        across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normals = across / np.maximum(np.linalg.norm(across, axis=1), 1e-300)[:, None]
    found = placed(points, normals, surface, emissivity)
    if not known:
        towards = np.einsum("ij,ij->i", found.away, normals) < 0
        found = replace(found, normals=np.where(towards[:, None], normals, -normals))
    return found


def placed(points: Array, normals: Array, surface: Surface, emissivity: float) -> Neighbour:
    """Return a neighbour whose points lie where they lie beside the part."""
    gap, near, closest = surface.nearest(points)
    return Neighbour(
        points=points, normals=normals, gap_mm=gap, near=near, away=points - closest, emissivity=emissivity
    )


def temperatures(
    neighbour: Neighbour,
    source: Source,
    around: Surroundings,
    *,
    behind: bool,
    seen: Seen | None = None,
    past: Seen | None = None,
    length_m: float | None = None,
) -> Array:
    """Return the temperature, (n,) K, of each point, bare or `behind` the source's sheets.

    `seen`: what the points see, as `looked` gives it, where it is known already. `past`: what they see of the part
    past the sheets. `length_m`: along which air flows, where the points are only some of what is heated; else it is
    that of these. Points in the part have its temperature.
    """
    seen = looked(neighbour, source, behind=behind) if seen is None else seen
    near_K = source.part.temperature_K[neighbour.near]
    gap_m = np.maximum(neighbour.gap_mm - (source.build_mm if behind else 0.0), 0.0) / 1e3
    length_m = heated_length_m(neighbour, seen) if length_m is None else length_m
    elements = Elements(
        seen=seen,
        part_emissivity=source.emissivity,
        emissivity=neighbour.emissivity,
        near_K=near_K,
        gap_m=gap_m,
        bridged_m=bridged_mm(source.part.hottest_K, around.ambient_K, length_m) / 1e3,
        upward=neighbour.normals @ source.up,
        length_m=length_m,
    )
    if behind:
        assert source.sheets is not None
        found, _ = shielded(elements, around, source.sheets, past)
    else:
        found = bare(elements, around)
    return np.where(neighbour.gap_mm <= 0, np.maximum(near_K, found), found)


def looked(neighbour: Neighbour, source: Source, *, behind: bool, rays: int = RAYS) -> Seen:
    """Return what each point sees of the part, or of the shield's outer face."""
    emitter = source.outer if behind else source.part
    assert emitter is not None
    return emitter.seen_by(neighbour.points, neighbour.normals, rays)


def moved_out(mesh: Mesh, distance_mm: float) -> Mesh:
    """Return the mesh with each corner moved out along its normal (by area); closed, normals outward."""
    corners = mesh.triangles
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals = np.zeros_like(mesh.vertices)
    for k in range(3):
        np.add.at(normals, mesh.faces[:, k], across)
    normals /= np.maximum(np.linalg.norm(normals, axis=1), 1e-300)[:, None]
    return Mesh(mesh.vertices + distance_mm * normals, mesh.faces)


def heated_length_m(neighbour: Neighbour, *seen: Seen) -> float:
    """Return the length, m, of what is heated by any of what is seen: a longer one is cooled less."""
    heated = neighbour.points[np.max([one.factor for one in seen], axis=0) > SHOWN_FACTOR]
    across = float(np.linalg.norm(np.ptp(heated, axis=0))) / 1e3 if len(heated) else 0.0
    return float(np.clip(across, *LENGTH_M))


def _plane_normals(points: Array) -> Array:
    """Normal of the plane through each point's neighbours, (n, 3), either way."""
    count = min(NEAREST, len(points))
    _, near = cKDTree(points).query(points, k=count, workers=-1)
    cloud = points[np.asarray(near).reshape(len(points), count)]
    cloud = cloud - cloud.mean(axis=1, keepdims=True)
    _, axes = np.linalg.eigh(np.einsum("nki,nkj->nij", cloud, cloud))
    normals: Array = axes[:, :, 0]
    return normals
