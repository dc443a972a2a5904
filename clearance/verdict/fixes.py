"""Fix list: connected patches of the part's surface that are short of a gap, and which way each must move."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from clearance.distance.inside import nearest_face, unsigned_distance
from clearance.frames import Array
from clearance.heat.growth import grown_part
from clearance.motion.pair import PairMotion
from clearance.motion.result import Sweep
from clearance.motion.sweep import sweep
from clearance.scene.mesh import IntArray, Mesh
from clearance.verdict.behind import with_behind
from clearance.verdict.result import Fix, Verdict, ZoneResult
from clearance.verdict.setting import Setting

MOST_PATCHES = 12
"""Patches listed per zone, the shortest of clearance first."""

LOOK_MM = 0.05
"""Width of the bound sought for a patch."""


def fixes_of(result: ZoneResult, part: Mesh, motion: PairMotion) -> tuple[Fix, ...]:
    """Return the patches of `part` (bay frame, neutral pose, mm) that keep a zone from passing.

    A patch is where the sampled clearance is below the gap plus the guard. How far and which way
    it must move comes from a certified sweep of that patch; the patch that holds the worst spot
    takes the zone's own.
    """
    if result.verdict is Verdict.PASS:
        return ()
    needed = result.zone.gap_mm + result.budget.guard
    low = np.nonzero((result.part_field.values_mm[part.faces] < needed).any(axis=1))[0]
    if not len(low):
        low = np.array([nearest_face(part, result.sweep.on_part)])
    patches = _connected(part, low)
    least = [float(result.part_field.values_mm[part.faces[p]].min()) for p in patches]
    first = int(np.argmin([_away(part, patch, result.sweep.on_part) for patch in patches]))
    found = [_fix(result, part, patches[first], result.sweep, needed)]
    for i in sorted((i for i in range(len(patches)) if i != first), key=lambda i: least[i])[: MOST_PATCHES - 1]:
        own = _swept(result, part, patches[i], motion)
        if own is None:
            found.append(_sunk(result, part, patches[i], needed))
        elif own.clearance.lower < needed:
            found.append(_fix(result, part, patches[i], own, needed))
    return tuple(sorted((fix for fix in found if fix.short_mm > 0), key=lambda fix: -fix.short_mm))


def all_fixes(results: Sequence[ZoneResult], motions: Mapping[str, PairMotion], setting: Setting) -> tuple[Fix, ...]:
    """Return the fixes of every zone that does not pass, the one farthest from passing first.

    `motions`: how each zone moves against the part, by the zone's name.
    """
    growth, found = setting.growth, list[Fix]()
    for r in sorted(results, key=lambda r: r.margin_mm - r.budget.guard):
        part = setting.part if growth is None else grown_part(setting.part, growth.anchor, r.factor)
        found += fixes_of(r, part.shown, motions[r.zone.name])
    return with_behind(found, results, motions, setting)


def _swept(result: ZoneResult, part: Mesh, patch: IntArray, motion: PairMotion) -> Sweep | None:
    """Sweep a patch alone; None where it touches, since a patch has no inside to tell depth by."""
    zone = result.zone.mesh if result.zone.mesh is not None else result.zone.points
    assert zone is not None
    own = sweep(Mesh(part.vertices, part.faces[patch]), False, zone, result.zone.closed, motion, LOOK_MM)
    return own if own.clearance.upper > 0 else None


def _sunk(result: ZoneResult, part: Mesh, patch: IntArray, needed: float) -> Fix:
    """Patch that touches the zone: inward along its mean normal, from its lowest sampled vertex."""
    corners = np.unique(part.faces[patch])
    deepest = corners[int(np.argmin(result.part_field.values_mm[corners]))]
    a, b, c = part.vertices[part.faces[patch]].swapaxes(0, 1)
    outward = np.cross(b - a, c - a)
    mean = outward.sum(axis=0)
    length = float(np.linalg.norm(mean))
    direction = -mean / length if length > 0 else result.sweep.direction
    short = needed - float(result.part_field.values_mm[deepest]) + result.part_field.may_be_lower_mm
    return Fix(
        zone=result.zone.name,
        centre=part.vertices[deepest],
        direction=direction,
        short_mm=short,
        area_mm2=float(np.linalg.norm(outward, axis=1).sum() / 2),
        faces=patch,
        moved=_moved(part, patch, short * direction),
    )


def _fix(result: ZoneResult, part: Mesh, patch: IntArray, found: Sweep, needed: float) -> Fix:
    a, b, c = part.vertices[part.faces[patch]].swapaxes(0, 1)
    areas = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2
    short = needed - found.clearance.lower
    return Fix(
        zone=result.zone.name,
        centre=found.on_part,
        direction=found.direction,
        short_mm=short,
        area_mm2=float(areas.sum()),
        faces=patch,
        moved=_moved(part, patch, short * found.direction),
    )


def _moved(part: Mesh, patch: IntArray, by: Array) -> Mesh:
    """Return a patch alone, shifted by (3,) mm."""
    used, faces = np.unique(part.faces[patch], return_inverse=True)
    return Mesh(part.vertices[used] + by, np.asarray(faces, np.int64).reshape(-1, 3))


def _away(part: Mesh, patch: IntArray, point: Array) -> float:
    return float(unsigned_distance(Mesh(part.vertices, part.faces[patch]), point[None])[0][0])


def _connected(part: Mesh, faces: IntArray) -> list[IntArray]:
    """Group faces that share an edge."""
    corners = part.faces[faces]
    pairs = np.sort(np.stack([corners, np.roll(corners, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    _, edge = np.unique(pairs, axis=0, return_inverse=True)
    owner = np.repeat(np.arange(len(faces)), 3)
    ones: NDArray[np.int8] = np.ones(len(owner), dtype=np.int8)
    meets = coo_matrix((ones, (owner, np.ravel(edge))), shape=(len(faces), int(np.max(edge)) + 1)).tocsr()
    count, label = connected_components(meets @ meets.T, directed=False)
    return [faces[label == k] for k in range(count)]
