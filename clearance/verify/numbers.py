"""The budget's sum and the verdicts, worked out again from the numbers of the report."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

import numpy as np

from clearance.job.schema import Job
from clearance.job.schema import Zone as ZoneTable
from clearance.registration.result import Registration
from clearance.scene.scan import Scan
from clearance.verify.claims import Report, ZoneClaim

SAME = 1e-9
"""Two float64 sums of the same few numbers agree to this, mm."""

NOISE_SAME_MM = 1e-6
"""A noise measured again may differ by what another build of the same libraries rounds otherwise."""


def zone_faults(
    zone: ZoneClaim,
    table: ZoneTable,
    job: Job,
    scan: Scan | None,
    registration: Registration,
    *,
    fitted: bool = False,
) -> list[str]:
    """Return what contradicts the job or itself in a zone's row. `fitted`: the zone is a shaft fitted to points."""
    gap = table.gap_shielded if table.shielded and table.gap_shielded is not None else table.gap
    limits, faults = zone.clearance_mm, []
    if zone.kind != table.kind:
        faults.append(f"the report calls it {zone.kind}, the job {table.kind}")
    if zone.required_gap_mm != gap:
        faults.append(f"the report requires {zone.required_gap_mm:g} mm, the job {gap:g} mm")
    if limits.lower > limits.upper:
        faults.append(f"its clearance is not a bound: {limits.lower:g} to {limits.upper:g} mm")
    if abs(zone.margin_mm - (limits.lower - gap)) > SAME:
        faults.append(f"its margin {zone.margin_mm:g} mm is not clearance less gap")
    if zone.nearest_raw_point_mm is not None and zone.nearest_raw_point_mm > limits.upper + SAME:
        faults.append("its nearest raw point lies farther than its clearance")
    faults += _budget_faults(zone, table, job, scan, registration, fitted)
    return faults + _verdict_faults(zone, gap, registration.converged)


def _budget_faults(
    zone: ZoneClaim, table: ZoneTable, job: Job, scan: Scan | None, registration: Registration, fitted: bool
) -> list[str]:
    budget, faults = zone.budget_mm, []
    measured = scan is not None and not table.where.is_body
    noise = scan.noise_mm if scan is not None and measured and not fitted else 0.0
    accuracy = job.bay.accuracy if job.bay is not None and measured else 0.0
    if abs(budget.noise - noise) > NOISE_SAME_MM:
        faults.append(f"its budget has a noise of {budget.noise:g} mm, its scan points have {noise:g} mm")
    if budget.accuracy != accuracy:
        faults.append(f"its budget has an accuracy of {budget.accuracy:g} mm, the job {accuracy:g} mm")
    if job.part.tolerance is not None and budget.tolerance != job.part.tolerance:
        faults.append(f"its budget has a tolerance of {budget.tolerance:g} mm, the job {job.part.tolerance:g} mm")
    at_witness = registration.sigma_mm(np.array(zone.on_part_mm), np.array(zone.direction))
    if budget.registration < at_witness - NOISE_SAME_MM:
        faults.append(
            f"its budget has {budget.registration:g} mm for the registration, at the witness point it is "
            f"{at_witness:g} mm"
        )
    if min(budget.spacing, budget.growth, budget.fit) < 0:
        faults.append("its budget has a negative part")
    # JCGM 100:2008, 5.1.2 and 4.3.7; the guard as JCGM 106:2012, 8.3.2, and the spacing beside it.
    parts = (budget.registration, budget.noise, budget.accuracy, budget.fit, budget.growth)
    standard = math.sqrt(sum(part**2 for part in parts) + budget.tolerance**2 / 3)
    guard = NormalDist().inv_cdf(job.decision.confidence) * standard + budget.spacing
    if abs(budget.standard - standard) > SAME:
        faults.append(f"its standard uncertainty is {standard:g} mm by its own budget, not {budget.standard:g} mm")
    if abs(budget.guard - guard) > SAME:
        faults.append(f"its guard is {guard:g} mm by its own budget and the job's confidence, not {budget.guard:g} mm")
    return faults


def _verdict_faults(zone: ZoneClaim, gap: float, converged: bool) -> list[str]:
    ruled = ruling(zone, gap) if converged else "undecided"
    if zone.verdict == ruled or (ruled == "pass" and zone.verdict == "undecided"):
        return []
    return [f"its numbers make it {ruled}, the report says {zone.verdict}"]


MEANS = {"free": "pass", "blocked": "fail", "undecided": "undecided"}
"""What an access comes to for the job."""


def ruling(zone: ZoneClaim, gap: float) -> str:
    """Return the verdict by the rule alone: JCGM 106:2012, 8.3, the spacing guarding acceptance only."""
    guard, limits = zone.budget_mm.guard, zone.clearance_mm
    if limits.lower - guard >= gap:
        return "pass"
    return "fail" if limits.upper + guard - zone.budget_mm.spacing < gap else "undecided"


def job_faults(report: Report, names: Sequence[str], converged: bool) -> list[str]:
    """Return what contradicts itself in the report as a whole. `names`: the job's zones."""
    found = [zone.name for zone in report.zones]
    faults = [f"{name}: the job has this zone, the report has it {found.count(name)} times" for name in names
              if found.count(name) != 1]  # fmt: skip
    faults += [f"{name}: the report has this zone, the job does not" for name in found if name not in names]
    verdicts = {str(zone.verdict) for zone in report.zones} | {MEANS[access.outcome] for access in report.access}
    worst = "fail" if "fail" in verdicts else "undecided" if "undecided" in verdicts or not converged else "pass"
    if report.verdict != worst and not (worst == "pass" and report.verdict == "undecided"):
        faults.append(f"the verdict is {report.verdict}, the zones make it {worst}")
    return faults
