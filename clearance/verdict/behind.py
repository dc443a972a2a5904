"""What is behind a patch that must move: how much room other zones leave it, and the part's own surfaces."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from clearance.frames import Array
from clearance.heat.growth import grown_part
from clearance.motion.field import may_be_lower
from clearance.motion.pair import PairMotion
from clearance.motion.sweep import sweep
from clearance.scene.mesh import Mesh
from clearance.verdict.result import Fix, ZoneResult
from clearance.verdict.setting import Setting

SWEPT_FIXES = 6
"""Fixes, worst first, whose room is worked out closely where samples do not show that it suffices."""

LOOK_MM = 0.1
"""Width of the bound sought for a patch."""

MOST_SURFACES = 6
"""Own surfaces told behind a patch."""

NEAREST_MM = 0.01
"""Hits nearer than this to the start, or to each other, are one surface."""


def with_behind(
    fixes: Sequence[Fix], results: Sequence[ZoneResult], motions: Mapping[str, PairMotion], setting: Setting
) -> tuple[Fix, ...]:
    """Return the fixes with what lies behind each.

    `room_mm` is how far the patch may move, whichever way, with gap and guard kept from every other zone:
    the patch's least proven clearance to it less what is needed. `own_surfaces_mm` are where a ray from the
    patch's worst spot along the way it must move meets the part's own surface.
    """
    told = []
    for number, fix in enumerate(fixes):
        others = [r for r in results if r.zone.name != fix.zone]
        rooms = [(_room_mm(fix, r, motions[r.zone.name], setting, closely=number < SWEPT_FIXES), r) for r in others]
        room, tightest = min(rooms, key=lambda pair: pair[0], default=(None, None))
        told.append(
            replace(
                fix,
                room_mm=room,
                room_to=None if tightest is None else tightest.zone.name,
                own_surfaces_mm=surfaces_along(setting.part.mesh, fix.centre, fix.direction)[:MOST_SURFACES],
            )
        )
    return tuple(told)


def _room_mm(fix: Fix, other: ZoneResult, motion: PairMotion, setting: Setting, *, closely: bool) -> float:
    """Lower bound of the room towards one zone, mm: from its sampled field, and by a sweep where that is too little.

    Between the vertices of a triangle the clearance falls below theirs by no more than its longest edge / sqrt(3).
    """
    growth = setting.growth
    part = setting.part if growth is None else grown_part(setting.part, growth.anchor, other.factor)
    mesh, needed = part.shown, other.zone.gap_mm + other.budget.guard
    corners = mesh.vertices[mesh.faces[fix.faces]]
    edge = float(np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max())
    used = np.unique(mesh.faces[fix.faces])
    lower = other.part_field.values_mm[used] - may_be_lower(motion, mesh.vertices[used])
    unlike = setting.unlike_mm(other.factor)
    sampled = float(lower.min() - edge / np.sqrt(3.0) - unlike - needed)
    if sampled >= fix.short_mm or not closely:
        return sampled
    body = other.zone.mesh if other.zone.mesh is not None else other.zone.points
    assert body is not None
    patch = Mesh(mesh.vertices, mesh.faces[fix.faces])
    own = sweep(patch, False, body, other.zone.closed, motion, LOOK_MM).clearance.lower - unlike - needed
    return max(sampled, float(own))


def surfaces_along(mesh: Mesh, start: Array, direction: Array) -> tuple[float, ...]:
    """Return the distances, mm, at which a ray from `start` (3,) along the unit vector meets a mesh, nearest first.

    The surface it starts on is left out. Moeller and Trumbore 1997, doi:10.1080/10867651.1997.10487468.
    """
    a, b, c = mesh.triangles.swapaxes(0, 1)
    first, second = b - a, c - a
    across = np.cross(direction, second)
    volume = np.einsum("ij,ij->i", first, across)
    safe = np.where(np.abs(volume) > 1e-12, volume, np.inf)
    away = start - a
    u = np.einsum("ij,ij->i", away, across) / safe
    turned = np.cross(away, first)
    v = turned @ direction / safe
    along = np.einsum("ij,ij->i", second, turned) / safe
    met = (u >= 0) & (v >= 0) & (u + v <= 1) & (along > NEAREST_MM) & np.isfinite(safe)
    distances = np.sort(along[met])
    apart = np.append(True, np.diff(distances) > NEAREST_MM) if len(distances) else np.zeros(0, dtype=bool)
    return tuple(float(x) for x in distances[apart])
