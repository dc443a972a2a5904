"""What was looked for of the surroundings that the scanner did not see, in one plain paragraph."""

from __future__ import annotations

from clearance.verdict.result import CheckResult

ALWAYS = (
    "A thing that gave the scanner nothing back and stands in no shadow, such as a thin or shiny wire, is in no scan: "
    "look at the car before ordering."
)

MERGED = (
    "The scan is not one file per station, so a surface that gave one station nothing back may be taken for open air "
    "that another saw through. "
)


def looked_for(result: CheckResult) -> str:
    """Return which unseen surroundings a verdict of this result speaks for and which not."""
    bay = result.job.bay
    if bay is None:
        return (
            "The job has no scan: unseen surroundings were NOT checked. The verdict speaks for the listed bodies alone."
        )
    if not bay.stations:
        return (
            "Holes and cut ends in the scanned surface near the part were looked for. Blind places, behind or below "
            "what the scanner saw, and places beyond the outer edge of the scan were NOT checked: state where it stood "
            f"(bay.stations), and see that the scan reaches past the part on all sides. {ALWAYS}"
        )
    merged = "" if len(bay.stations) == len(bay.files) else MERGED
    return f"Holes in the scanned surface and blind places near the part were looked for. {merged}{ALWAYS}"
