"""What a moving zone's place leaves out of it: moved along, it must keep the gap as well."""

from __future__ import annotations

from clearance.frames import Array
from clearance.motion.field import may_come_within
from clearance.motion.pair import PairMotion
from clearance.motion.sweep import sweep
from clearance.scene.part import Part
from clearance.unseen.words import at

LOOK_MM = 0.1
"""Width of the bound sought."""


def moved_along(beside: Array | None, part: Part, motion: PairMotion, needed_mm: float) -> str | None:
    """Return why scan points just beside a zone's place keep it from passing, None if they do not.

    They do where one of them may come nearer than `needed_mm` to `part` (bay frame, mm) if it moves with the zone.
    """
    if beside is None or not len(beside):
        return None
    near = beside[may_come_within(part.mesh, beside, motion, needed_mm)]
    if not len(near):
        return None
    found = sweep(part.mesh, part.closed, near, False, motion, LOOK_MM)
    if found.clearance.lower >= needed_mm:
        return None
    return (
        f"scan points just beside the zone's place, near {at(found.on_zone)}, would come within "
        f"{max(found.clearance.upper, 0.0):.1f} mm if they move with it, {needed_mm:.1f} mm is needed: widen the "
        "zone's place to hold all that moves, or, if what lies there stands still, give it a zone of its own"
    )
