"""What a moving body must keep clear of: a piece of the surroundings and how surely it is known."""

from __future__ import annotations

from dataclasses import dataclass

from clearance.motion.bodies import Solid


@dataclass(frozen=True, eq=False, kw_only=True)
class Obstacle:
    """A body with the clearance required of it.

    Attributes
    ----------
    name : str
        Of its zone, for messages.
    solid : Mesh or (n, 3) float64
        Bay frame, neutral pose, mm.
    closed : bool
        Whether a mesh bounds a solid.
    gap_mm : float
        Required clearance.
    doubt_mm : float
        Clearance may be wrong by this much either way, at the confidence asked for.
    spacing_mm : float
        A surface between scan points may be nearer by up to this.
    firm : bool
        False for scan points that nothing supports: they keep a thing from being proven free, and block nothing.
    """

    name: str
    solid: Solid
    closed: bool = False
    gap_mm: float = 0.0
    doubt_mm: float = 0.0
    spacing_mm: float = 0.0
    firm: bool = True

    @property
    def needed_mm(self) -> float:
        """Clearance at which it is proven that the gap is kept."""
        return self.gap_mm + self.doubt_mm + self.spacing_mm
