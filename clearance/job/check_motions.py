"""Rules of what rides on what, and of what a zone may do besides."""

from __future__ import annotations

import difflib

from clearance.errors import InputError
from clearance.job.schema import Job, Zone

CARRIERS = ("chassis", "engine")


def check_motions(job: Job) -> None:
    """Check carriers, links and the zones' own motions and fits. Raises InputError."""
    links = [link.name for link in job.links]
    for name in links:
        key = f"link '{name}': name"
        if name in CARRIERS:
            raise InputError(job.file, f"{name} is a carrier of its own", "give the link another name", key)
        if links.count(name) > 1:
            raise InputError(job.file, "two links have this name", "give each its own", key)
    for zone in job.zones:
        _check_rides(job, zone, links)
        _check_fit(job, zone)
        if zone.rides in links and zone.stroke is not None:
            found = "stroke beside a link: a shaft between two carriers has travel at its chassis end, no stroke"
            raise InputError(job.file, found, "leave one of them out", f"zone '{zone.name}': stroke")
    ridden = {zone.rides for zone in job.zones}
    for name in links:
        if name not in ridden:
            raise InputError(job.file, "no zone rides on it", f'write rides = "{name}" in a zone', f"link '{name}'")
    if links and job.part.rides != "engine":
        raise InputError(job.file, "a link in a job whose part rides on the chassis", "leave the link out", "link")


def _check_rides(job: Job, zone: Zone, links: list[str]) -> None:
    known = [*CARRIERS, *links]
    if zone.rides in known:
        return
    near = difflib.get_close_matches(zone.rides, known, n=1, cutoff=0.5)
    listed = ", ".join(f'"{name}"' for name in known)
    wanted = f'did you mean "{near[0]}"?' if near else f"write one of {listed}, or add a [[link]] of that name"
    raise InputError(job.file, f'"{zone.rides}" is no carrier', wanted, f"zone '{zone.name}': rides")


def _check_fit(job: Job, zone: Zone) -> None:
    key = f"zone '{zone.name}': fit"
    if zone.fit is None:
        return
    if zone.where.is_body:
        raise InputError(job.file, "fit beside a zone that is a body already", "leave fit out", key)
    if zone.where.rest:
        wanted = "give the shaft a zone of its own, with a cylinder or box about its points"
        raise InputError(job.file, "fit beside rest = true", wanted, key)
