"""What a verification found."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class ZoneProof:
    """One zone, re-proved or not.

    Attributes
    ----------
    name : str
    claimed_mm : float
        Lower bound of the clearance that the report states.
    proved_mm : float or None
        What was proved again, a little less than claimed; None where the lower bound was not proved.
    upper_mm : float or None
        Upper bound, where its witness points were found to attain it.
    not_proved : str or None
        Why something was left unproved, None if nothing was.
    distances : int
        Point-to-mesh distances and pairs of convex pieces that were asked.
    """

    name: str
    claimed_mm: float
    proved_mm: float | None
    upper_mm: float | None
    not_proved: str | None = None
    distances: int = 0


@dataclass(frozen=True, kw_only=True)
class Verification:
    """Outcome for a whole report.

    Attributes
    ----------
    zones : tuple of ZoneProof
    faults : tuple of str
        What does not hold. Empty for a sound report.
    notes : tuple of str
        What is not covered, and what was only compared by hash.
    """

    zones: tuple[ZoneProof, ...]
    faults: tuple[str, ...]
    notes: tuple[str, ...] = ()

    @property
    def exit_code(self) -> int:
        """0 all re-proved, 1 a fault, 3 something was not re-proved."""
        if self.faults:
            return 1
        return 3 if any(zone.not_proved for zone in self.zones) else 0
