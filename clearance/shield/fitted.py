"""The shield that a job asks for, as far as it fits: the room for it, the sheet's blank, its flat pattern."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from clearance.frames import Array
from clearance.job.heat import Shield
from clearance.job.schema import Job
from clearance.layout.layout import Layout
from clearance.layout.placement import Progress
from clearance.shield.blank import Blank, blank
from clearance.shield.pattern import Pattern, flat_pattern
from clearance.shield.plan import Wish
from clearance.shield.room import AIR_MM, CAP_MM, Room, room
from clearance.shield.sightlines import Sightlines
from clearance.shield.surface import Mask

MARGIN_MM = 10.0
"""How far a sheet reaches beyond the lines of heat that it is to stop."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Fitted:
    """A shield over the triangles of the part that need one.

    Attributes
    ----------
    need_faces : (m,) bool
        Triangles of the part's shown mesh.
    build_mm : float
        Standoff, sheets and the air behind them.
    share : float
        Share of the needed area on which that is proven to fit.
    pattern : Pattern or None
        None where nothing is left of the blank.
    up : (3,) float64
    """

    need_faces: Mask
    room: Room
    build_mm: float
    share: float
    blank: Blank
    pattern: Pattern | None
    up: Array


def fitted(
    layout: Layout,
    job: Job,
    about: Shield,
    need_faces: Mask,
    lines: Sightlines,
    guard_mm: Mapping[str, float],
    up: Array,
    progress: Progress,
) -> Fitted:
    """Fit the shield before `need_faces`. `guard_mm`: of each zone's clearance, by its name.

    Two sheets are one blank as thick as both and the air between them: its checks hold for the pair, its pattern is
    that of the pair's middle.
    """
    progress("looking for room for a shield")
    build_mm = about.build_mm + AIR_MM
    space = room(layout, guard_mm, cap_mm=max(CAP_MM, 2 * build_mm))
    progress("building the blank and checking it against every zone")
    wish = Wish(
        standoff_mm=about.standoff,
        least_mm=about.least_mm,
        sheet_mm=about.build_mm - about.standoff,
        margin_mm=MARGIN_MM,
        air_mm=AIR_MM,
        pieces=about.pieces,
    )
    sheet = blank(layout, job, need_faces, lines, guard_mm, wish)
    return Fitted(
        need_faces=need_faces,
        room=space,
        build_mm=build_mm,
        share=space.share_that_fits(build_mm, need_faces),
        blank=sheet,
        pattern=flat_pattern(sheet, up=up) if sheet.panels else None,
        up=up,
    )
