"""What was looked for of the surroundings that the scanner did not see, in one plain paragraph."""

from __future__ import annotations

from clearance.job.schema import Bay
from clearance.verdict.result import CheckResult

ALWAYS = (
    "A thing that gave the scanner nothing back and stands in no shadow, such as a thin or shiny wire, is in no scan: "
    "look at the car before ordering."
)

MERGED = (
    "The scan is not one file per station, so a surface that gave one station nothing back may be taken for open air "
    "that another saw through; outer edges of the scan were looked at for that reason, as where no station is stated. "
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
            f"{_told_left_out(bay)}"
            "Holes, cut ends and outer edges of the scanned surface near the part were looked at: a surface that may "
            "go on, straight or along its own curve, nearer to the part than required keeps a zone from passing, "
            "unless the scan shows something behind. What is farther from any scanned surface than the required "
            "clearance, or hidden behind what the scanner saw, was NOT checked: state where it stood (bay.stations), "
            f"and see that the scan reaches past the part on all sides. {_told_ends(bay)}{ALWAYS}"
        )
    told = _told_ends(bay)
    merged = "" if len(bay.stations) == len(bay.files) else MERGED
    looked = "Holes in the scanned surface and blind places near the part were looked for. "
    return f"{_told_left_out(bay)}{looked}{told}{merged}{ALWAYS}"


def _told_left_out(bay: Bay) -> str:
    """Return what the job leaves out of the scan, empty where nothing."""
    if not bay.left_out:
        return ""
    names = ", ".join(f"'{table.name}'" for table in bay.left_out)
    return f"The job leaves scan points out (bay.left_out): {names}. NOTHING there was checked. "


def _told_ends(bay: Bay) -> str:
    """Return what the job says of real ends, the places by name, empty where it says nothing."""
    if not bay.ends:
        return ""
    places = "; ".join(f"{_point(end.box.min)} to {_point(end.box.max)}" for end in bay.ends)
    return f"The job says (bay.ends) that the surface really ends in {places}: holes and edges there were NOT counted. "


def _point(place: tuple[float, ...]) -> str:
    return "[" + ", ".join(f"{x:g}" for x in place) + "]"
