"""The shield blank: the sheet at a standoff over what needs it, cut back until it keeps clear of every zone.

The check is the job's own (`judge_zone`) with the sheet in the part's place: certified sweep over rock, travel,
stroke and growth, guard, and what the scan missed. The sheet is taken to grow with the part; where it is cooler,
it may stand off that by the difference of the factors times its size, which is added to the required gap. Its
tolerance is the part's and `FORMING_MM`. Where it is short it is cut back and checked again as a whole,
`MOST_TRIMS` times at most; then it may still fail, and `checks` say so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearance.bounds import Bound
from clearance.distance.inside import Surface
from clearance.job.schema import Job
from clearance.layout.layout import Layout, unseen_near
from clearance.outputs.raycast import RayMesh
from clearance.scene.mesh import Mesh
from clearance.scene.part import Part
from clearance.shield.approach import approach
from clearance.shield.offset import Level, drawn_smooth, edges_of, level_surface, tidied, vertex_normals
from clearance.shield.region import Mask, outside_faces, region, with_clean_rim, without_islands
from clearance.shield.room import AIR_MM, face_areas, held_mm, zones_and_motions
from clearance.unseen.result import Unseen
from clearance.verdict.judge import judge_zone, with_unseen
from clearance.verdict.result import Verdict, ZoneResult
from clearance.verdict.setting import Setting

FORMING_MM = 1.0
"""A sheet bent by hand lies within this of its drawing, either way (common practice)."""

GRID_SHARE = 6.0
"""Grid steps to a standoff."""

MOST_TRIMS = 3
"""Times a blank is cut back and checked again."""

RINGS = 2
"""Rings of triangles by which a small hole is made larger."""

TRIM_TOLERANCE_MM = 0.25
"""A place is cut away although it clears, if by less than this."""


@dataclass(frozen=True, eq=False, kw_only=True)
class BlankCheck:
    """What a zone says of the blank, over the whole motion, cold to hot.

    Attributes
    ----------
    clearance : Bound
        Contains the smallest distance of sheet and zone, mm (certified sweep).
    required_mm : float
        Gap that the zone must keep from the sheet.
    guard_mm : float
        What the clearance must exceed it by to be proven.
    """

    zone: str
    clearance: Bound
    required_mm: float
    guard_mm: float
    verdict: Verdict
    reason: str


@dataclass(frozen=True, eq=False, kw_only=True)
class Blank:
    """A shield blank, bay frame, neutral pose, mm. It rides with the part.

    Attributes
    ----------
    inner : Mesh
        Side of the sheet that faces the part; no triangles where nothing fits.
    solid : Mesh
        The sheet with its thickness, closed.
    to_part_mm : float
        Exact distance of sheet and part (lower bound): never less than the standoff less `offset.NEARER_MM`;
        0 where nothing is left.
    farthest_mm : float
        Largest distance of a vertex from the part: hollows are bridged.
    checks : of every zone
    unseen : places near the blank that the scan missed
    untrimmed_mm2, area_mm2 : float
        Area of `inner` before and after it was cut back from the zones.
    covered_share : float
        Share of the needed area (outside of bores) that meets the sheet straight out.
    """

    inner: Mesh
    solid: Mesh
    standoff_mm: float
    sheet_mm: float
    margin_mm: float
    air_mm: float
    to_part_mm: float
    farthest_mm: float
    checks: tuple[BlankCheck, ...]
    unseen: tuple[Unseen, ...]
    untrimmed_mm2: float
    area_mm2: float
    covered_share: float

    @property
    def fits(self) -> bool:
        """Whether something is left and every zone is proven to keep clear of it."""
        return bool(len(self.inner.faces)) and all(check.verdict is Verdict.PASS for check in self.checks)

    @property
    def lost_share(self) -> float:
        """Share of the untrimmed blank that the zones took."""
        return 1.0 - self.area_mm2 / self.untrimmed_mm2 if self.untrimmed_mm2 else 1.0

    @property
    def middle(self) -> Mesh:
        """The sheet's middle surface, which bending neither stretches nor shortens (thin sheet)."""
        return offset_along_normals(self.inner, self.sheet_mm / 2)


def blank(
    layout: Layout,
    job: Job,
    need_faces: Mask,
    standoff_mm: float,
    sheet_mm: float,
    margin_mm: float = 10.0,
    air_mm: float = AIR_MM,
) -> Blank:
    """Build the blank over the triangles that need a shield, check it against every zone, cut it back where short.

    Parameters
    ----------
    need_faces : (m,) bool
        Triangles of `layout.setting.part.shown`.
    standoff_mm, sheet_mm : float
        Air between part and sheet, and thickness of the sheet, which goes outward.
    margin_mm : float
        How far the blank reaches, measured on the part, beyond what needs it.
    air_mm : float
        Least gap that any zone must keep from the sheet (`held_mm`).

    Raises
    ------
    ValueError
        A length out of range, or no triangle outside of bores needs a shield.
    """
    if standoff_mm <= 0 or sheet_mm <= 0 or margin_mm <= 0 or air_mm < 0:
        raise ValueError("standoff, sheet and margin must be above 0 mm, air not below")
    part = layout.setting.part
    needed = outside_faces(part.shown, need_faces)
    if not needed.any():
        raise ValueError("no triangle on the outside of the part needs a shield")
    left = _cut_to_fit(layout, job, *_untrimmed(part, needed, standoff_mm, margin_mm), standoff_mm, sheet_mm, air_mm)
    solid = thickened(left.inner, sheet_mm)
    return Blank(
        inner=left.inner,
        solid=solid,
        standoff_mm=standoff_mm,
        sheet_mm=sheet_mm,
        margin_mm=margin_mm,
        air_mm=air_mm,
        to_part_mm=left.to_part_mm,
        farthest_mm=float(Surface(part.mesh).nearest(left.inner.vertices)[0].max(initial=0.0)),
        checks=tuple(map(_check, left.results)),
        unseen=left.unseen,
        untrimmed_mm2=left.untrimmed_mm2,
        area_mm2=float(face_areas(left.inner).sum()),
        covered_share=_covered(part.shown, needed, solid),
    )


@dataclass(frozen=True, eq=False)
class _Left:
    """What is left of the sheet's inner side, and what the zones say of it."""

    inner: Mesh
    to_part_mm: float
    results: Sequence[ZoneResult]
    unseen: tuple[Unseen, ...]
    untrimmed_mm2: float


def _cut_to_fit(
    layout: Layout, job: Job, level: Level, kept: Mask, standoff_mm: float, sheet_mm: float, air_mm: float
) -> _Left:
    """Draw the sheet, judge it, cut back what is short, and again, until it clears or nothing more can be cut."""
    untrimmed = 0.0
    for trims in range(MOST_TRIMS + 1):
        kept = with_clean_rim(level.mesh, without_islands(level.mesh, kept))
        if not kept.any():
            break
        cut = tidied(Mesh(level.mesh.vertices, level.mesh.faces[kept]))
        inner, to_part = drawn_smooth(cut, layout.setting.part.mesh, standoff_mm)
        untrimmed = untrimmed or float(face_areas(inner).sum())
        results, unseen = _judged(layout, job, inner, sheet_mm, air_mm)
        left = _Left(inner, to_part, results, unseen, untrimmed)
        if trims == MOST_TRIMS or all(r.verdict is Verdict.PASS for r in results):
            return left
        short = _short(layout, inner, sheet_mm, results)
        if not short.any():
            return left
        kept[np.flatnonzero(kept)[_to_cut(inner, short)]] = False
    return _Left(_empty(), 0.0, (), (), untrimmed)


def _untrimmed(part: Part, needed: Mask, standoff_mm: float, margin_mm: float) -> tuple[Level, Mask]:
    """Return the surface at the standoff and which of its triangles stand over the region."""
    corners = part.shown.vertices[part.shown.faces[needed]].reshape(-1, 3)
    grid = standoff_mm / GRID_SHARE
    reach = standoff_mm + margin_mm + 3 * grid
    low, high = corners.min(axis=0) - reach, corners.max(axis=0) + reach
    level = level_surface(Surface(part.mesh), low, high, standoff_mm, grid)
    return level, region(level, part.shown, needed, margin_mm)


def _judged(
    layout: Layout, job: Job, inner: Mesh, sheet_mm: float, air_mm: float
) -> tuple[list[ZoneResult], tuple[Unseen, ...]]:
    """Judge every zone with the sheet in the part's place."""
    setting = _in_the_parts_place(layout.setting, thickened(inner, sheet_mm))
    slack = _growth_slack_mm(setting)
    results = [
        judge_zone(replace(zone, gap_mm=held_mm(zone, air_mm) + slack), motion, setting)
        for zone, motion in zones_and_motions(layout)
    ]
    needed = {r.zone.name: r.zone.gap_mm + r.budget.guard for r in results}
    unseen = unseen_near(replace(layout, setting=setting), job, needed)
    return list(with_unseen(results, unseen)), unseen


def _in_the_parts_place(setting: Setting, solid: Mesh) -> Setting:
    own = replace(
        setting.part,
        name="shield blank",
        mesh=solid,
        shown=solid,
        closed=True,
        tolerance_mm=setting.part.tolerance_mm + FORMING_MM,
        tolerance_source=None,
        material=None,
    )
    return replace(setting, part=own)


def _growth_slack_mm(setting: Setting) -> float:
    """How far a sheet that is not as hot as the part may stand off where it would be if it were, mm."""
    if setting.growth is None:
        return 0.0
    corners = setting.part.mesh.vertices
    size = float(np.linalg.norm(corners.max(axis=0) - corners.min(axis=0)))
    return (setting.growth.k_hot - setting.growth.k_cold) * size


def _short(layout: Layout, inner: Mesh, sheet_mm: float, results: Sequence[ZoneResult]) -> Mask:
    """Tell which vertices of the sheet come, on either side, nearer to a zone that does not pass than proof needs."""
    both = np.concatenate([inner.vertices, offset_along_normals(inner, sheet_mm).vertices])
    short = np.zeros(len(both), dtype=bool)
    for (zone, motion), result in zip(zones_and_motions(layout), results, strict=True):
        if result.verdict is not Verdict.PASS:
            wanted = result.zone.gap_mm + result.budget.guard + TRIM_TOLERANCE_MM
            cap = np.full(len(both), wanted)
            short |= approach(both, zone, motion, layout.setting.growth, cap, TRIM_TOLERANCE_MM) < wanted
    return short[: len(inner.vertices)] | short[len(inner.vertices) :]


def _to_cut(inner: Mesh, short: Mask) -> Mask:
    """Tell which triangles go: those with a short corner; small patches of them grow, or smoothing would shut them."""
    cut = np.asarray(short[inner.faces].any(axis=1), dtype=np.bool_)
    small = cut & ~without_islands(inner, cut)
    for _ in range(RINGS):
        corners = np.zeros(len(inner.vertices), dtype=bool)
        corners[inner.faces[small]] = True
        small = np.asarray(corners[inner.faces].any(axis=1), dtype=np.bool_)
    return np.asarray(cut | small, dtype=np.bool_)


def _check(result: ZoneResult) -> BlankCheck:
    return BlankCheck(
        zone=result.zone.name,
        clearance=result.sweep.clearance,
        required_mm=result.zone.gap_mm,
        guard_mm=result.budget.guard,
        verdict=result.verdict,
        reason=result.reason,
    )


def _covered(part: Mesh, needed: Mask, solid: Mesh) -> float:
    """Share of the needed area from which the way straight out meets the sheet."""
    if not len(solid.faces):
        return 0.0
    a, b, c = part.triangles[needed].swapaxes(0, 1)
    normal, area = np.cross(b - a, c - a), face_areas(part)[needed]
    met = RayMesh(solid).blocked((a + b + c) / 3, normal / np.maximum(2 * area, 1e-300)[:, None], 0.0)
    return float(area[met].sum() / area.sum())


def offset_along_normals(mesh: Mesh, by_mm: float) -> Mesh:
    """Return the mesh with every vertex moved along its normal, mm."""
    return Mesh(mesh.vertices + by_mm * vertex_normals(mesh), mesh.faces)


def thickened(inner: Mesh, sheet_mm: float) -> Mesh:
    """Return the closed solid between `inner`, mm, and the same surface `sheet_mm` farther along its normals."""
    n, faces = len(inner.vertices), inner.faces
    if not len(faces):
        return inner
    ways = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    edges, on_rim = edges_of(faces)
    rim = {(int(a), int(b)) for a, b in edges[on_rim]}
    a, b = np.array([way for way in ways.tolist() if (min(way), max(way)) in rim], np.int64).reshape(-1, 2).T
    walls = [np.stack([a, b, b + n], axis=1), np.stack([a, b + n, a + n], axis=1)]
    outer = offset_along_normals(inner, sheet_mm).vertices
    return Mesh(np.concatenate([inner.vertices, outer]), np.concatenate([faces[:, ::-1], faces + n, *walls]))


def _empty() -> Mesh:
    return Mesh(np.zeros((0, 3), dtype=np.float64), np.zeros((0, 3), dtype=np.int64))
