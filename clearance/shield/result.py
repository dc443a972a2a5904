"""What `clearance shield` finds: the gap each zone needs, against the gap set by the user and the room there is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from clearance.bounds import Bound
from clearance.frames import Array
from clearance.job.heat import Shield
from clearance.job.schema import Job
from clearance.layout.layout import Layout
from clearance.shield.fitted import Fitted
from clearance.verdict.result import CheckResult

DRIVING, SOAK = "driving", "soak"
"""Air moving at the job's speed; and standing still just after the engine is shut off, the part still hot."""


class Need(StrEnum):
    """What a zone comes to."""

    NOTHING = "no shield needed"
    SHIELD = "a shield is needed, and enough where it covers all that heats it"
    MORE_ROOM = "too hot even with a shield in the room there is"


@dataclass(frozen=True, kw_only=True)
class Gap:
    """The smallest gap at which a zone stays within its limit.

    `gap_mm` is None where none up to `tried_mm` is enough; 0 where it may touch. `why` says so in words.
    """

    gap_mm: float | None
    tried_mm: float
    why: str

    def kept_by(self, clearance_mm: float) -> bool:
        """Whether a clearance, mm, is enough."""
        return self.gap_mm is not None and clearance_mm >= self.gap_mm


@dataclass(frozen=True, eq=False, kw_only=True)
class ZoneHeat:
    """One zone with a limit.

    Attributes
    ----------
    name, kind : str
    limit_C, limit_from : what it stands and where that is from
    emissivity, emissivity_from
    bare_C, shielded_C : by condition, the hottest point as it stands at rest, °C
    sampled_C : the hottest of the map, bare, at rest, in the worse condition, °C
    factor : view factor of the part from the hottest point
    place : (3,) the hottest point, bay frame, mm
    at_rest_mm : its distance from the part there
    bare, shielded : Gap by condition
    gap_mm, gap_shielded_mm : what the job requires
    shielded_now : whether the job says a shield is fitted
    clearance_mm : proven over the whole motion
    guard_mm : what that is uncertain by
    need : Need
    """

    name: str
    kind: str
    limit_C: float
    limit_from: str
    emissivity: float
    emissivity_from: str
    bare_C: Mapping[str, float]
    shielded_C: Mapping[str, float]
    sampled_C: float
    factor: float
    place: Array
    at_rest_mm: float
    bare: Mapping[str, Gap]
    shielded: Mapping[str, Gap]
    gap_mm: float
    gap_shielded_mm: float | None
    shielded_now: bool
    clearance_mm: Bound
    guard_mm: float
    points: Array
    temperature_C: Array
    need: Need

    @property
    def available_mm(self) -> float:
        """Clearance there is for certain: the lower end of its bound less the guard, mm."""
        return self.clearance_mm.lower - self.guard_mm


@dataclass(frozen=True, eq=False, kw_only=True)
class ShieldResult:
    """All that the command found.

    `about` is the shield that gaps are worked out for, `checked` the check of the same job. `left_out` are
    zones without a limit. `fitted` is None where no zone needs a shield. `behind_C`: by zone and condition, the
    hottest point behind the blank as it is, °C; empty where there is none.
    """

    job: Job
    about: Shield
    layout: Layout
    checked: CheckResult
    zones: tuple[ZoneHeat, ...]
    left_out: tuple[str, ...]
    part_emissivity: tuple[float, str]
    sheet_emissivity: tuple[float, str]
    notes: tuple[str, ...]
    fitted: Fitted | None
    behind_C: Mapping[str, Mapping[str, float]]
    timing_s: Mapping[str, float]
    versions: Mapping[str, str]

    @property
    def enough(self) -> bool:
        """Whether every zone stays within its limit, with the blank that was found where a shield is needed."""
        if self.fitted is None:
            return all(zone.need is Need.NOTHING for zone in self.zones)
        return self.fitted.blank.fits and not self.too_hot and all(z.need is not Need.MORE_ROOM for z in self.zones)

    @property
    def too_hot(self) -> tuple[ZoneHeat, ...]:
        """Zones that pass their limit behind the blank as it is."""
        return tuple(z for z in self.zones if max(self.behind_C.get(z.name, {}).values(), default=-np.inf) > z.limit_C)
