"""File names of zones: short, safe on every file system, no two alike."""

from __future__ import annotations

from collections.abc import Iterable

from clearance.job.check import slug

LONGEST_BYTES = 80


def stems(names: Iterable[str]) -> dict[str, str]:
    """Return for each zone name the stem of its files, in the order given; a stem that is taken gets a number."""
    found: dict[str, str] = {}
    for name in names:
        short = slug(name).encode()[:LONGEST_BYTES].decode(errors="ignore").rstrip("-")
        stem, number = short, 1
        while stem in found.values():
            number += 1
            stem = f"{short}-{number}"
        found[name] = stem
    return found
