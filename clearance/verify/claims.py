"""What a report claims: report.json and certificate.json, read and checked for shape, nothing more."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from clearance.errors import InputError
from clearance.frames import Array

Number = Annotated[float, Field(allow_inf_nan=False)]
Vector = tuple[Number, Number, Number]
Row = tuple[Number, Number, Number, Number]
WANTED = "give the folder of a report that `clearance check` wrote"


class _Claim(BaseModel):
    model_config = ConfigDict(frozen=True)


class Limits(_Claim):
    """A bound, mm."""

    lower: Number
    upper: Number


class WorstPose(_Claim):
    """Where the upper bound is attained; None for motions that the pair does not have."""

    roll_deg: Number | None
    lift_mm: Number | None
    shift_mm: Number | None
    travel_deg: Number | None
    stroke_mm: Number | None


class Budget(_Claim):
    """Uncertainty of a zone, mm."""

    registration: Number
    noise: Number
    accuracy: Number
    fit: Number
    spacing: Number
    tolerance: Number
    growth: Number
    standard: Number
    guard: Number


class ZoneClaim(_Claim):
    """A row of report.json."""

    name: str
    kind: str
    required_gap_mm: Number
    clearance_mm: Limits
    nearest_raw_point_mm: Number | None
    margin_mm: Number
    worst_pose: WorstPose
    on_part_mm: Vector
    on_zone_mm: Vector
    direction: Vector
    budget_mm: Budget
    hot: bool
    growth_factor: Number
    verdict: Literal["pass", "fail", "undecided"]


class InputClaim(_Claim):
    """A file the verdict rests on."""

    file: str
    sha256: str
    unit: str | None = None
    points: int | None = None
    triangles: int | None = None


class RegistrationClaim(_Claim):
    """Where the part was placed."""

    method: str
    T_bay_part: tuple[Row, Row, Row, Row]
    converged: bool
    sigma_mm: Number


class AccessClaim(_Claim):
    """What came of an access; it is not worked out again."""

    outcome: Literal["free", "blocked", "undecided"]


class Report(_Claim):
    """report.json, as far as it is verified."""

    format: Literal["clearance-report/1"]
    verdict: Literal["pass", "fail", "undecided"]
    inputs: tuple[InputClaim, ...]
    registration: RegistrationClaim
    zones: tuple[ZoneClaim, ...]
    access: tuple[AccessClaim, ...] = ()


class SweepClaim(_Claim):
    """One certified sweep: cells [low.., high.., lower bound] in rad and mm."""

    factor: Number
    angles: tuple[str, ...]
    link_axes: tuple[Vector, Vector] | None = None
    cells: tuple[tuple[Number, ...], ...]
    clearance_mm: Limits
    worst_pose: WorstPose
    on_part_mm: Vector
    on_zone_mm: Vector
    contained: bool

    def columns(self) -> tuple[Array, Array, Array] | None:
        """Return (k, a) low and high corners and (k,) bounds; None if the rows do not have that shape."""
        a = len(self.angles)
        if not self.cells or any(len(row) != 2 * a + 1 for row in self.cells):
            return None
        rows = np.array(self.cells, dtype=np.float64)
        return rows[:, :a], rows[:, a : 2 * a], rows[:, -1]


class FitClaim(_Claim):
    """A shaft completed from scan points, mm, bay frame; 1 sigma of its surface's place where least certain."""

    from_mm: Vector
    to_mm: Vector
    radius_mm: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    sigma_mm: Number


class ContactClaim(_Claim):
    """What of a zone was left out because it touches."""

    points: int
    area_mm2: Number


class GrowthClaim(_Claim):
    """How the part grows: anchor, mm, bay frame, and least and largest factor."""

    anchor_mm: Vector
    k_cold: Number
    k_hot: Number


class ZoneCertificate(_Claim):
    """Sweeps of one zone."""

    name: str
    facet_mm: Number
    fit: FitClaim | None = None
    contact: ContactClaim | None = None
    sweeps: tuple[SweepClaim, ...]


class Certificate(_Claim):
    """certificate.json."""

    format: Literal["clearance-certificate/1"]
    T_bay_part: tuple[Row, Row, Row, Row]
    tolerance_mm: Number
    growth: GrowthClaim | None = None
    zones: tuple[ZoneCertificate, ...]
    report_sha256: str
    files: dict[str, str]


class Claims(_Claim):
    """A report folder, read. `tree` is report.json as it is."""

    folder: Path
    tree: dict[str, Any]
    report: Report
    certificate: Certificate


def read_claims(folder: Path) -> Claims:
    """Read a report folder. Raises InputError where it is none or its files have not the shape they must have."""
    if not folder.is_dir():
        raise InputError(folder, "no such folder" if not folder.exists() else "not a folder", WANTED)
    tree = _json(folder / "report.json")
    try:
        report = Report.model_validate(tree)
    except ValidationError as fault:
        raise _shape(folder / "report.json", fault) from fault
    try:
        certificate = Certificate.model_validate(_json(folder / "certificate.json"))
    except ValidationError as fault:
        raise _shape(folder / "certificate.json", fault) from fault
    return Claims(folder=folder, tree=tree, report=report, certificate=certificate)


def _json(path: Path) -> Any:
    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as fault:
        raise InputError(path, "no such file", WANTED) from fault
    except OSError as fault:
        raise InputError(path, f"cannot be read ({fault.strerror})", WANTED) from fault
    except (ValueError, RecursionError) as fault:
        raise InputError(path, "not JSON", WANTED) from fault


def _shape(path: Path, fault: ValidationError) -> InputError:
    first = fault.errors()[0]
    key = ".".join(str(step) for step in first["loc"]) or None
    return InputError(path, f"not a report of this version ({first['msg'].lower()})", WANTED, key)
