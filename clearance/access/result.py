"""What is found of one access."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from clearance.access.obstacle import Obstacle
from clearance.bounds import Bound
from clearance.frames import Array
from clearance.motion.result import Sweep


class Outcome(StrEnum):
    """free = proven; blocked = proven not; undecided = neither."""

    FREE = "free"
    BLOCKED = "blocked"
    UNDECIDED = "undecided"


@dataclass(frozen=True, eq=False, kw_only=True)
class Spot:
    """Where something came nearest, or in the way, mm, bay frame: on what moves, as it lies there, and on what stands.

    `clearance` is the bound there, `needed_mm` what would prove it free; `when` says where on the way.
    """

    obstacle: str
    clearance: Bound
    needed_mm: float
    on_moving: Array
    on_standing: Array
    when: str = ""


@dataclass(frozen=True, eq=False, kw_only=True)
class Access:
    """One access: what was asked, what came of it and why. `spot` is None where nothing was near."""

    name: str
    kind: str
    outcome: Outcome
    reason: str
    spot: Spot | None = None


def outcome_of(clearance: Bound, obstacle: Obstacle) -> Outcome:
    """Return what a bound proves of an obstacle.

    As for zones (JCGM 106:2012, 8.3): free if lower less doubt and spacing keeps the gap, blocked if upper plus
    doubt does not. What is not firm blocks nothing.
    """
    if clearance.lower >= obstacle.needed_mm:
        return Outcome.FREE
    if obstacle.firm and clearance.upper + obstacle.doubt_mm < obstacle.gap_mm:
        return Outcome.BLOCKED
    return Outcome.UNDECIDED


def spot_of(found: Sweep, obstacle: Obstacle, when: str = "") -> Spot:
    """Return the spot of a sweep in which the part moves against a standing obstacle."""
    return Spot(
        obstacle=obstacle.name,
        clearance=found.clearance,
        needed_mm=obstacle.needed_mm,
        on_moving=found.on_part,
        on_standing=found.on_zone,
        when=when,
    )
