"""Rules of the datums and of the pairs that seat the part on them."""

from __future__ import annotations

import difflib

from clearance.errors import InputError
from clearance.job.datum import Datum
from clearance.job.schema import Job

ROUND = ("hole", "stud")


def check_datums(job: Job) -> None:
    """Check names of datums, and that every pair of register.set names two that fit together. Raises InputError."""
    names = [datum.name for datum in job.datums]
    for name in names:
        if names.count(name) > 1:
            raise InputError(job.file, "two datums have this name", "give each its own", f"datum '{name}': name")
    for name in job.part.contact:
        if not (datum := _named(job, name, "part", "part.contact")).face:
            found = f"'{name}' is a {datum.kind}"
            raise InputError(job.file, found, "name a face: only faces are meant to touch", "part.contact")
    if job.heat is not None:
        _named(job, job.heat.anchor, "part", "heat.anchor")
    if job.register_.method != "datums":
        return
    if job.bay is None:
        raise InputError(
            job.file,
            "datums of the bay are fitted to scan points but the job has no [bay]",
            'add [bay], or write method = "landmarks"',
            "register.method",
        )
    used: set[str] = set()
    for number, pair in enumerate(job.register_.set_, 1):
        key = f"register.set {number}"
        part, bay = _named(job, pair.part, "part", f"{key}: part"), _named(job, pair.bay, "bay", f"{key}: bay")
        if part.kind != bay.kind and not (part.round and bay.round):
            found = f"'{part.name}' ({part.kind}) cannot be seated on '{bay.name}' ({bay.kind})"
            raise InputError(
                job.file, found, "pair face with face, edge with edge, hole or stud with hole or stud", key
            )
        for name in (part.name, bay.name):
            if name in used:
                raise InputError(job.file, f"'{name}' is in another pair as well", "use each datum once", key)
        used |= {part.name, bay.name}
    if not any(datum.face and datum.name in used for datum in job.datums):
        wanted = "add a pair of faces: seating (ISO 5459, 3-2-1) begins with the face that takes three of six freedoms"
        raise InputError(job.file, "no face among the pairs", wanted, "register.set")


def _named(job: Job, name: str, on: str, key: str) -> Datum:
    """Return the datum of that name on part or bay."""
    there = {datum.name: datum for datum in job.datums if datum.on == on}
    if name in there:
        return there[name]
    if name in {datum.name for datum in job.datums}:
        wanted = f'name a datum with on = "{on}"'
        raise InputError(job.file, f"datum '{name}' is not on the {on}", wanted, key)
    near = difflib.get_close_matches(name, there, n=1, cutoff=0.5)
    listed = ", ".join(f"'{n}'" for n in sorted(there)) or f'none: add a [[datum]] with on = "{on}"'
    wanted = f"did you mean '{near[0]}'?" if near else f"datums on the {on}: {listed}"
    raise InputError(job.file, f"no datum is named '{name}'", wanted, key)
