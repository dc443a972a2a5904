"""A place near the part that the scan did not see, and the zone it matters to."""

from __future__ import annotations

from dataclasses import dataclass

from clearance.frames import Array
from clearance.scene.zone import Zone


@dataclass(frozen=True, eq=False, kw_only=True)
class Needed:
    """A zone and the clearance it needs to pass, mm: its gap and the guard of its budget."""

    zone: Zone
    needed_mm: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Unseen:
    """One unseen place where something could stand nearer to the part than a zone allows.

    Attributes
    ----------
    zone : str
        The zone whose own surface is nearest.
    centre : (3,) float64, bay frame, neutral pose, mm
    size_mm : float
        Diameter of the largest ball that fits in it.
    nearest_mm : float
        Least clearance, over the motion, of what could stand there; 0 where it could touch.
    needed_mm : float
        What the zone needs.
    advice : str
        One sentence: what was not seen, where, and from which side to scan again.
    """

    zone: str
    centre: Array
    size_mm: float
    nearest_mm: float
    needed_mm: float
    advice: str
