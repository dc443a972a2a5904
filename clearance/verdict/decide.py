"""pass, fail or undecided: the rule, and the sentence that explains it."""

from __future__ import annotations

from collections.abc import Sequence

from clearance.bounds import Bound
from clearance.registration.result import Registration
from clearance.verdict.result import Budget, Verdict, ZoneResult

SETTLES = {
    "registration": "place the part more surely: more landmarks or datums, farther apart, or a refine",
    "noise": "scan with less noise, or scan this place again from nearer",
    "accuracy": "a scanner with a smaller stated error",
    "fit": "scan the shaft from more sides",
    "growth": "a part of a material whose growth is better known, or a lower temperature",
    "tolerance": "a closer tolerance of the finished part",
    "spacing": "scan this place more finely",
}
"""What would shrink each component of the budget."""


FAR_MM = 100.0
"""A pass with nothing nearer than this, and ten gaps, is told with a question."""


def decide_zone(clearance: Bound, gap_mm: float, budget: Budget, registration: Registration) -> tuple[Verdict, str]:
    """Return the verdict on one zone and why.

    Guarded acceptance and rejection (JCGM 106:2012, 8.3): pass only if lower - guard >= gap, fail
    only if upper + k u < gap. With k = `conformance.guard_factor(confidence)` that is: pass where
    the conformance probability at the lower end of the bound is at least the confidence, fail where
    the probability of falling short at the upper end is above it. The spacing allowance guards
    acceptance alone, since a surface between the points can only be nearer.
    """
    if not registration.converged:
        return Verdict.UNDECIDED, "the part's place in the bay is not proven: " + _why_not_placed(registration)
    proven = clearance.lower - budget.guard
    at_most = clearance.upper + budget.guard - budget.spacing
    if proven >= gap_mm:
        return Verdict.PASS, f"at least {proven:.2f} mm is proven, {gap_mm:g} mm is required"
    if at_most < gap_mm:
        if at_most < 0:
            return Verdict.FAIL, f"the part interferes by at least {-at_most:.2f} mm; {gap_mm:g} mm clear is required"
        return (
            Verdict.FAIL,
            f"at most {at_most:.2f} mm, {gap_mm:g} mm is required: short by at least {gap_mm - at_most:.2f} mm",
        )
    return Verdict.UNDECIDED, _between(proven, at_most, gap_mm, budget, clearance)


def decide_job(
    zones: Sequence[ZoneResult], registration: Registration, unclaimed_mm: float | None
) -> tuple[Verdict, str]:
    """Return the verdict on the job and why.

    `unclaimed_mm` is the clearance to scan points that no zone claims, None if none come near.
    """
    by = {v: [z for z in zones if z.verdict is v] for v in Verdict}
    worst_first = sorted(by[Verdict.FAIL], key=lambda z: z.margin_mm)
    if worst_first:
        worst = worst_first[0]
        others = f" (and {len(worst_first) - 1} more)" if len(worst_first) > 1 else ""
        return Verdict.FAIL, f"{worst.zone.name}{others}: {worst.reason}"
    if not registration.converged:
        return Verdict.UNDECIDED, "the part's place in the bay is not proven: " + _why_not_placed(registration)
    if by[Verdict.UNDECIDED]:
        worst = min(by[Verdict.UNDECIDED], key=lambda z: z.margin_mm - z.budget.guard)
        return Verdict.UNDECIDED, f"{worst.zone.name}: {worst.reason}"
    if unclaimed_mm is not None:
        return (
            Verdict.UNDECIDED,
            f"scan points that belong to no zone come within {unclaimed_mm:.2f} mm of the part; "
            "add a zone there, or one with where = { rest = true }",
        )
    tightest = min(zones, key=lambda z: z.margin_mm - z.budget.guard)
    reason = f"every zone is proven; the tightest is {tightest.zone.name}: {tightest.reason}"
    nearest = min(z.sweep.clearance.lower for z in zones)
    if nearest > max(FAR_MM, 10 * max(z.zone.gap_mm for z in zones)):
        reason += f"; but nothing comes nearer than {nearest:.0f} mm: are the part's place and all units right?"
    return Verdict.PASS, reason


def _between(proven: float, at_most: float, gap: float, budget: Budget, clearance: Bound) -> str:
    parts = {name: float(getattr(budget, name)) for name in SETTLES}
    largest = max(parts, key=lambda name: parts[name])
    told = f"between {proven:.2f} and {at_most:.2f} mm, {gap:g} mm is required; "
    if clearance.lower < 0 and clearance.width > budget.guard:
        return told + "the parts interfere too deeply for a closer bound; move the part"
    if parts[largest] == 0:
        settle = "a closer search would settle it"
    else:
        settle = f"the largest doubt is {largest}, {parts[largest]:.2f} mm: {SETTLES[largest]}"
    return f"{told}{settle}, or move the part"


def _why_not_placed(registration: Registration) -> str:
    return registration.notes[-1] if registration.notes else f"{registration.method} did not settle"
