"""The shield blank: folded panels at a standoff before what heats the zones, cut back until they clear every zone.

The check is the job's own (`judge_zone`) with the sheet in the part's place: certified sweep over rock, travel,
stroke and growth, guard, and what the scan missed. The sheet is taken to grow with the part; where it is cooler,
it may stand off that by `growth_slack_mm`, which is added to the required gap. Its
tolerance is the part's and `FORMING_MM`. Where it is short it is cut back and checked again as a whole,
`MOST_TRIMS` times at most; then it may still fail, and `checks` say so.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from clearance.bounds import Bound
from clearance.distance.body import mesh_body
from clearance.distance.fcl_engine import FclBody
from clearance.distance.inside import Surface
from clearance.frames import Array
from clearance.job.schema import Job
from clearance.layout.layout import Layout, unseen_near
from clearance.scene.mesh import Mesh
from clearance.shield.keep_clear import FORMING_MM, KeepClear, RoughlyClear, growth_slack_mm
from clearance.shield.panel import Panel
from clearance.shield.plan import Wish, planned
from clearance.shield.room import held_mm, zones_and_motions
from clearance.shield.sightlines import Sightlines
from clearance.shield.surface import Mask, joined, offset_along_normals
from clearance.unseen.result import Unseen
from clearance.verdict.judge import judge_zone, with_unseen
from clearance.verdict.result import Verdict, ZoneResult
from clearance.verdict.setting import Setting

UNCOVERED = 0.05
"""Share of the heat that may pass the sheet by: along its rims."""

MOST_TRIMS = 4
"""Times a blank is cut back and checked again."""

BETTER = 0.01
"""A way of more pieces is taken if it stops so much more."""

MOST_MORE_MM = 2.0
"""What a zone lacks in one spot is asked of it everywhere; no more than this at a time."""

IN_HAND_MM = 0.25
"""What is cut more than the check found to be lacking."""


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
    panels : its pieces, as far as the zones left them
    solid : Mesh
        All of them with their thickness, closed.
    wish : Wish
    to_part_mm : float
        Exact distance of sheet and part (lower bound); 0 where nothing is left.
    farthest_mm : float
        Largest distance of a vertex from the part: hollows are bridged.
    checks : of every zone
    unseen : places near the blank that the scan missed
    untrimmed_mm2, area_mm2 : float
        Area of the panels' inner side before and after they were cut back from the zones.
    covered_share : float
        Share of the heat's lines that the sheet stops, in the worst of the poses tried (`Sightlines`).
    bare_mm2, bare_at
        Area of the part that is seen past the sheet by what gets too hot, and its middle, (3,).
    """

    panels: tuple[Panel, ...]
    solid: Mesh
    wish: Wish
    to_part_mm: float
    farthest_mm: float
    checks: tuple[BlankCheck, ...]
    unseen: tuple[Unseen, ...]
    untrimmed_mm2: float
    area_mm2: float
    covered_share: float
    bare_mm2: float
    bare_at: Array

    @property
    def fits(self) -> bool:
        """Whether something is left and every zone is proven to keep clear of it."""
        return bool(self.panels) and all(check.verdict is Verdict.PASS for check in self.checks)

    @property
    def lost_share(self) -> float:
        """Share of the untrimmed blank that the zones took."""
        return 1.0 - self.area_mm2 / self.untrimmed_mm2 if self.untrimmed_mm2 else 1.0


def blank(
    layout: Layout, job: Job, need_faces: Mask, lines: Sightlines, guard_mm: Mapping[str, float], wish: Wish
) -> Blank:
    """Build the blank that stops the lines of heat, check it against every zone, cut it back where short.

    Of the ways to make it (`planned`) the first is taken of which, cut back, enough is left; if none is, the one that
    stops most.

    Parameters
    ----------
    need_faces : (m,) bool
        Triangles of `layout.setting.part.shown` that the sheet is to stand before.
    guard_mm : by the zone's name
        Guard of the part's clearance.

    Raises
    ------
    ValueError
        A length out of range, or there is no line of heat.
    """
    if min(wish.least_mm, wish.sheet_mm, wish.margin_mm) <= 0 or wish.air_mm < 0 or wish.standoff_mm < wish.least_mm:
        raise ValueError("standoff, sheet and margin must be above 0 mm, air not below, the least standoff the least")
    if not len(lines.power):
        raise ValueError("no line of heat is to be stopped")
    clear = KeepClear(layout, guard_mm, wish.air_mm)
    whole = _chosen(layout.setting.part.shown, lines, wish, clear)
    panels, results, unseen = _cut_to_fit(layout, job, whole, wish, clear)
    inner, solid = joined([p.inner for p in panels]), joined([p.solid(wish.sheet_mm) for p in panels])
    stopped, part = lines.stopped_by(inner), layout.setting.part
    bare_mm2, bare_at = lines.bare(inner, part.shown, need_faces)
    return Blank(
        panels=panels,
        solid=solid,
        wish=wish,
        to_part_mm=_apart(inner, part.mesh) if panels else 0.0,
        farthest_mm=float(Surface(part.mesh).nearest(inner.vertices)[0].max(initial=0.0)),
        checks=tuple(map(_check, results)),
        unseen=unseen,
        untrimmed_mm2=sum(p.area_mm2 for p in whole),
        area_mm2=sum(p.area_mm2 for p in panels),
        covered_share=lines.share_stopped(stopped),
        bare_mm2=bare_mm2,
        bare_at=bare_at,
    )


def _chosen(part: Mesh, lines: Sightlines, wish: Wish, clear: KeepClear) -> tuple[Panel, ...]:
    """Weigh the ways to make it by what a rough cut leaves of them."""
    best, most, rough = tuple[Panel, ...](), -1.0, RoughlyClear(clear, part)

    def worth(panels: tuple[Panel, ...]) -> float:
        left = _cut(panels, _short_mm(panels, wish.sheet_mm, rough.short_mm))
        return lines.share_stopped(lines.stopped_by(joined([p.inner for p in left])))

    for panels, share in planned(part, lines, wish, rough, worth):
        if share > most + BETTER:
            best, most = panels, share
        if share >= 1.0 - UNCOVERED:
            break
    return best


def _cut(panels: Sequence[Panel], short_mm: Sequence[Array]) -> tuple[Panel, ...]:
    """Cut away what is short: `short_mm` of each panel at the vertices of its inner side."""
    cut = [panel.cut(-short) for panel, short in zip(panels, short_mm, strict=True)]
    return tuple(panel for panel in cut if len(panel.flat.faces))


def _sides(panel: Panel, sheet_mm: float) -> Array:
    """Vertices of both sides of a panel, (2, n, 3)."""
    return np.stack([panel.inner.vertices, offset_along_normals(panel.inner, sheet_mm).vertices])


def _short_mm(panels: Sequence[Panel], sheet_mm: float, told: Callable[[Array], Array]) -> list[Array]:
    """What is `told` of places, at each vertex of each panel the worse of both sides, mm."""
    sides = [_sides(panel, sheet_mm) for panel in panels]
    return [told(places.reshape(-1, 3)).reshape(2, -1).max(axis=0) for places in sides]


def _cut_to_fit(
    layout: Layout, job: Job, panels: Sequence[Panel], wish: Wish, clear: KeepClear
) -> tuple[tuple[Panel, ...], Sequence[ZoneResult], tuple[Unseen, ...]]:
    """Cut back, judge, and again where it is short or beside what the scan missed, until it clears.

    It may not in `MOST_TRIMS` cuts: `checks` say which zone is left undecided and from where to scan again.
    """
    more, blind = dict[str, float](), list[Unseen]()
    for trims in range(MOST_TRIMS + 1):
        told = partial(clear.short_mm, more_mm=dict(more), unseen=tuple(blind))
        left = _cut(panels, _short_mm(panels, wish.sheet_mm, told))
        if not left:
            break
        results, unseen = _judged(layout, job, [p.solid(wish.sheet_mm) for p in left], wish.air_mm)
        lacking = {r.zone.name: r.zone.gap_mm + r.budget.guard - r.sweep.clearance.lower for r in results}
        for place in unseen:
            lacking[place.zone] = max(lacking[place.zone], place.needed_mm - place.nearest_mm)
        lacking = {name: mm for name, mm in lacking.items() if mm > 0}
        if trims == MOST_TRIMS or not lacking:
            return left, results, unseen
        blind += unseen
        more |= {name: more.get(name, 0.0) + min(mm, MOST_MORE_MM) + IN_HAND_MM for name, mm in lacking.items()}
    return (), (), ()


def _judged(
    layout: Layout, job: Job, pieces: Sequence[Mesh], air_mm: float
) -> tuple[list[ZoneResult], tuple[Unseen, ...]]:
    """Judge every zone with the sheet in the part's place."""
    setting = _in_the_parts_place(layout.setting, joined(pieces))
    slack = growth_slack_mm(setting.growth, pieces)
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


def _apart(inner: Mesh, part: Mesh) -> float:
    own, body = FclBody(mesh_body(inner)), FclBody(mesh_body(part))
    return own.closest(body).distance_mm - own.excess_mm(body)


def _check(result: ZoneResult) -> BlankCheck:
    return BlankCheck(
        zone=result.zone.name,
        clearance=result.sweep.clearance,
        required_mm=result.zone.gap_mm,
        guard_mm=result.budget.guard,
        verdict=result.verdict,
        reason=result.reason,
    )
