"""The result of a check: the one object every output is drawn from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from clearance.access.result import Access
from clearance.bounds import Bound
from clearance.frames import Array, Pose
from clearance.heat.growth import Growth
from clearance.job.schema import Job
from clearance.motion.result import ClearanceField, Sweep
from clearance.provenance import InputFile
from clearance.registration.result import Registration
from clearance.scene.contact import ContactMask
from clearance.scene.mesh import IntArray, Mesh
from clearance.scene.part import Part
from clearance.scene.scan import Scan
from clearance.scene.zone import Zone
from clearance.unseen.result import Unseen


class Verdict(StrEnum):
    """pass = proven; fail = proven short; undecided = neither, with the one reason."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"


@dataclass(frozen=True, kw_only=True)
class Budget:
    """Uncertainty of one zone's clearance at its worst spot, along the gap direction, mm.

    `registration`, `noise` and `accuracy` are 1 sigma. `spacing` is one-sided: a surface between the
    points may be nearer by up to that much. `fit` is 1 sigma of the surface of a shaft completed from
    scan points, `growth` 1 sigma of the growth with heat. `tolerance` is the half-width of a rectangular
    distribution. `standard` is the combined standard uncertainty, `guard` the amount by which the
    clearance must exceed the gap to be proven, spacing included.
    """

    registration: float
    noise: float
    accuracy: float
    fit: float
    spacing: float
    tolerance: float
    growth: float
    standard: float
    guard: float


@dataclass(frozen=True, eq=False, kw_only=True)
class ZoneResult:
    """One row of the report.

    `nearest_raw_point_mm`: smallest clearance upper bound with the stray points counted in; None for
    mesh zones. `nearest_raw_point`: the point, (3,) bay frame at neutral pose, if it is below the bound.
    `part_field` is per vertex of `part.shown`, `zone_field` per zone point or vertex of
    `zone.shown`.
    `worst_part_pose` is T_bay_part at `sweep.worst`; `worst_zone_pose` (bay, bay) is how the zone
    moved from its neutral place to get there (identity for a zone that stands still).
    `factor` is the part's growth at the worst; `hot` tells that it is nearer the hottest than the
    coldest. `sweeps` are the certified sweeps behind the bound, each with its growth factor.
    """

    zone: Zone
    sweep: Sweep
    nearest_raw_point_mm: float | None
    budget: Budget
    hot: bool
    factor: float
    sweeps: tuple[tuple[float, Sweep], ...]
    verdict: Verdict
    reason: str
    part_field: ClearanceField
    zone_field: ClearanceField
    at_rest_mm: Bound
    worst_part_pose: Pose
    worst_zone_pose: Pose
    nearest_raw_point: Array | None = None

    @property
    def margin_mm(self) -> float:
        """Proven clearance minus the required gap, mm."""
        return self.sweep.clearance.lower - self.zone.gap_mm


@dataclass(frozen=True, eq=False, kw_only=True)
class Fix:
    """One connected patch of part surface short of a zone's gap.

    `centre` (3,) bay frame at neutral pose, mm; `direction` unit vector the surface must move;
    `short_mm` how far; `area_mm2` of the patch; `faces` indices of triangles of `part.shown`.
    """

    zone: str
    centre: Array
    direction: Array
    short_mm: float
    area_mm2: float
    faces: IntArray
    moved: Mesh
    room_mm: float | None = None
    room_to: str | None = None
    own_surfaces_mm: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class CheckResult:
    """Everything a check found.

    `unseen` are places near the part that the scan missed, worst first; every output says what was
    looked for. `growth` is None for a job that says nothing of heat. `masks`: by a zone's name, what of it
    the part is meant to touch.
    """

    job: Job
    part: Part
    scan: Scan | None
    registration: Registration
    zones: tuple[ZoneResult, ...]
    verdict: Verdict
    reason: str
    fixes: tuple[Fix, ...]
    inputs: tuple[InputFile, ...]
    growth: Growth | None = None
    masks: Mapping[str, ContactMask] = field(default_factory=dict)
    unseen: tuple[Unseen, ...] = ()
    access: tuple[Access, ...] = ()
    notes: tuple[str, ...] = ()
    timing_s: dict[str, float] = field(default_factory=dict)
    versions: dict[str, str] = field(default_factory=dict)
