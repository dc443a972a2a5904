"""A verification as lines for the terminal."""

from __future__ import annotations

from clearance.verify.result import Verification, ZoneProof
from clearance.verify.zones import DEPTH, EPS_MM

OUTCOME = {
    0: "VERIFIED: every bound was proved again with another engine",
    1: "NOT VERIFIED: something does not hold",
    3: "NOT VERIFIED: something was not proved again",
}


def lines(found: Verification) -> list[str]:
    """Return the lines, the outcome first."""
    told = [OUTCOME[found.exit_code]]
    told += [f"fault: {fault}" for fault in found.faults]
    told += [_zone(zone) for zone in found.zones]
    return told + [f"note: {note}" for note in (f"claims count as proved to within {EPS_MM:g} mm", *found.notes)]


def _zone(zone: ZoneProof) -> str:
    if zone.not_proved is not None:
        return f"not re-proved: {zone.name}: {zone.not_proved}"
    if zone.upper_mm is None:
        return f"not re-proved: {zone.name}: see its fault"
    if zone.proved_mm is None:
        return f"re-proved: {zone.name} <= {zone.upper_mm:.2f} mm; {DEPTH}"
    certified = f"certificate {zone.claimed_mm:.2f} to {zone.upper_mm:.2f}"
    return f"re-proved: {zone.name} >= {zone.proved_mm:.2f} mm ({certified})"
