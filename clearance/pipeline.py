"""The main job, step by step: every step a function of its own that returns a frozen result."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

from clearance.layout.layout import Layout, lay_out, unseen_near
from clearance.layout.placement import Placement, Progress, place
from clearance.provenance import versions
from clearance.verdict.access import judge_access, with_access
from clearance.verdict.decide import decide_job
from clearance.verdict.fixes import all_fixes
from clearance.verdict.judge import judge_zone, nearest_unclaimed, with_unseen
from clearance.verdict.left_out import left_out_notes
from clearance.verdict.notes import notes_of, pushing_notes
from clearance.verdict.result import CheckResult

__all__ = ["check", "judge", "place"]


def check(job_file: Path, progress: Progress = lambda step: None, part_file: Path | None = None) -> CheckResult:
    """Run the main job, or another part in it. Raises InputError for any fault of the job or its files."""
    started = time.perf_counter()
    placed = place(job_file, progress, part_file)
    reading_s = time.perf_counter() - started
    progress("laying out the zones")
    result = judge(placed, lay_out(placed), progress)
    timing = {"read_and_place": reading_s, "total": time.perf_counter() - started}
    return replace(result, timing_s=timing)


def judge(placed: Placement, layout: Layout, progress: Progress = lambda step: None) -> CheckResult:
    """Return what the zones around a placed part come to, as they are laid out."""
    job, registration = placed.job, placed.registration
    setting, zones = layout.setting, layout.zones
    results = []
    for number, zone in enumerate(zones.zones, 1):
        progress(f"zone {number} of {len(zones.zones)}: {zone.name}")
        results.append(judge_zone(zone, layout.motions[zone.name], setting))
    unclaimed_mm = nearest_unclaimed(zones.unclaimed, setting, results, zones.unclaimed_spacing_mm)
    progress("looking for what the scan did not see")
    unseen = unseen_near(layout, job, {r.zone.name: r.zone.gap_mm + r.budget.guard for r in results})
    results = list(with_unseen(results, unseen))
    verdict, reason = decide_job(results, registration, unclaimed_mm)
    if job.access:
        progress("trying what must be possible at rest")
    access = judge_access(job, setting, zones)
    verdict, reason = with_access(verdict, reason, access)
    progress("listing what must move")
    fixes = all_fixes(results, layout.motions, setting)
    return CheckResult(
        job=job,
        part=placed.part,
        scan=setting.scan,
        registration=registration,
        zones=tuple(results),
        verdict=verdict,
        reason=reason,
        fixes=fixes,
        inputs=placed.inputs,
        growth=setting.growth,
        masks=layout.masks,
        unseen=unseen,
        access=access,
        notes=(
            *notes_of(job, placed.part, results, registration, setting.growth, layout.peeled, layout.masks),
            *pushing_notes(layout.faces, setting.growth),
            *left_out_notes(zones, setting.part.mesh),
        ),
        versions=versions(),
    )
