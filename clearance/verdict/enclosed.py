"""A body within a mesh that is all but closed: nobody can tell what is inside, so nothing is proven."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.distance.inside import any_inside, covered, crossings, most_turns
from clearance.frames import Array
from clearance.motion.bodies import corners
from clearance.motion.field import sampled_states
from clearance.motion.pair import PairMotion
from clearance.scene.cubes import cubes
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.scene.rays import Rays
from clearance.scene.zone import Zone

ENCLOSING = 0.9
"""Share of all directions that an open mesh must cover, seen from the part, for the part to be called enclosed."""

UNBROKEN = 0.97
"""The same where triangles of mixed winding or sheets with two faces cancel out and only rays can tell."""

ODD = 0.4
"""Share of all directions from which a point may lie within an open mesh if a ray crosses the mesh an odd number of
times there: whatever the winding, that is all of them within a closed body and none outside."""

RAYS, EYES = 150, 4
"""Directions, and vertices of the part they start from."""

BLOCK = 1_000_000
"""Rays cast at a time."""

FINEST_MM = 0.5
"""Side of the smallest cubes whose points one of them speaks for."""


def enclosed(zone: Zone, part: Mesh) -> str | None:
    """Return why a zone's mesh with small holes or doubled triangles keeps it from passing, None if it does not.

    Such a mesh has no inside, so its surface alone is measured, and that calls a swallowed part
    clear. `part`: bay frame, neutral pose, mm.
    """
    if zone.mesh is None or zone.closed:
        return None
    if most_turns(zone.mesh, part.vertices) < ENCLOSING and _least_covered(zone.mesh, part) < UNBROKEN:
        return None
    return (
        "the part lies within this zone's mesh, which has small holes, doubled or crossing triangles, so its inside "
        "cannot be told from its outside; close the mesh, or cut away what does not belong to the zone"
    )


def entered(zone: Zone, part: Part, motion: PairMotion) -> str | None:
    """Return why a body that goes into an open mesh through its hole keeps a zone from passing, None if it does not.

    Surfaces that never touch do not prove the inside empty where one has a hole: it is asked at sampled poses,
    by winding number, of a zone's mesh as `enclosed` does. `part`: bay frame, neutral pose, mm.
    """
    open_zone = zone.mesh is not None and not zone.closed
    if (part.closed and not open_zone) or not motion.moves:
        return None
    points = zone.points if zone.mesh is None else corners(zone.mesh)
    own = corners(part.mesh) if open_zone else None
    for state in sampled_states(motion):
        pose, other = motion.poses(state)
        if not part.closed and points is not None and any_inside(part.mesh, (pose.inverse() @ other).apply(points)):
            return (
                "somewhere in the motion it lies within the part's mesh, which is not closed, so what is solid there "
                "cannot be told from what is free; close the part's mesh"
            )
        if own is None or zone.mesh is None:
            continue
        if most_turns(zone.mesh, (other.inverse() @ pose).apply(own)) >= ENCLOSING:
            return (
                "somewhere in the motion the part lies within this zone's mesh, which is not closed, so its inside "
                "cannot be told from its outside; close the mesh, or cut away what does not belong to the zone"
            )
    return None


def within_open_part(points: Array, part: Part, apart_mm: float) -> str | None:
    """Return why points that lie within a part that is not closed keep it from passing, None if they do not.

    Seams and triangles of mixed winding cancel out the winding number that tells inside from outside, so a
    part could swallow a cable and call it clear: rays tell whatever the winding.

    Parameters
    ----------
    points : (n, 3) float64
        Bay frame, neutral pose, mm.
    apart_mm : float
        No point is nearer to the part's surface: points of a cube smaller than that lie on one side.
    """
    if part.closed or not len(points):
        return None
    vertices = part.mesh.vertices[np.unique(part.mesh.faces)]
    points = points[((points > vertices.min(axis=0)) & (points < vertices.max(axis=0))).all(axis=1)]
    first, _ = cubes(points, max(apart_mm / np.sqrt(3.0), FINEST_MM))
    if not may_lie_within(part.mesh, points[first]).any():
        return None
    return (
        "it lies within the part's mesh, which is not closed, so what is solid there cannot be told from what is "
        "free; close the part's mesh"
    )


def may_lie_within(mesh: Mesh, points: Array) -> NDArray[np.bool_]:
    """Tell which of (n, 3) points, mm, may lie within an open mesh of any winding, by what rays from them cross."""
    told = np.zeros(len(points), dtype=bool)
    if not len(points):
        return told
    ways = _directions()
    try:
        caster = Rays(mesh)
    except ImportError:
        caster = None
    step = max(1, BLOCK // RAYS)
    for start in range(0, len(points), step):
        some = points[start : start + step]
        if caster is None:
            count = np.stack([crossings(mesh, point, ways) for point in some])
        else:
            count = caster.crossings(np.repeat(some, RAYS, axis=0), np.tile(ways, (len(some), 1))).reshape(-1, RAYS)
        odd, met = (count % 2).mean(axis=1), (count > 0).mean(axis=1)
        told[start : start + step] = (odd >= ODD) | (met >= UNBROKEN)
    return told


def _least_covered(mesh: Mesh, part: Mesh) -> float:
    """Return the share of directions that `mesh` covers, seen from the vertex of the part that sees most past it."""
    eyes = part.vertices[np.linspace(0, len(part.vertices) - 1, EYES).astype(np.int64)]
    return min(covered(mesh, eye, _directions()) for eye in eyes)


def _directions() -> Array:
    """Return (RAYS, 3) directions spread evenly over the sphere along a golden spiral."""
    step = np.arange(RAYS) + 0.5
    height = 1 - 2 * step / RAYS
    around, out = np.pi * (1 + np.sqrt(5)) * step, np.sqrt(1 - height**2)
    return np.column_stack([out * np.cos(around), out * np.sin(around), height])
