"""Names of classes and surfaces that a job gives, refused where they are not known before anything is worked out."""

from __future__ import annotations

from clearance.heat.emissivity import emissivity_of
from clearance.heat.limits import limit_of
from clearance.job.schema import Job


def check_names(job: Job) -> None:
    """Check every name of a limit or a surface. Raises InputError: names the nearest known one, or all of them."""
    if job.heat is not None:
        emissivity_of(job.heat.emissivity, job.file, "heat.emissivity")
        for region in job.heat.region:
            if region.emissivity is not None:
                emissivity_of(region.emissivity, job.file, f"heat.region '{region.name}': emissivity")
    if job.shield is not None:
        emissivity_of(job.shield.emissivity, job.file, "shield.emissivity")
    for zone in job.zones:
        emissivity_of(zone.emissivity, job.file, f"zone '{zone.name}': emissivity")
        if zone.limit is not None:
            limit_of(zone.limit, job.file, f"zone '{zone.name}': limit")
