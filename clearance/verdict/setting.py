"""What every zone of a job is judged against."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from clearance.heat.growth import Growth
from clearance.motion.rock import Rock
from clearance.registration.result import Registration
from clearance.scene.part import Part
from clearance.scene.scan import Scan


@dataclass(frozen=True, eq=False, kw_only=True)
class Setting:
    """The placed part, how it moves and grows, and how sure all that is.

    Attributes
    ----------
    part : Part
        Bay frame, neutral pose, of the size it was modelled in.
    growth : Growth or None
        In the bay's frame; None where the job says nothing of heat.
    confidence : float
        Probability that a pass or fail must have, one-sided.
    """

    part: Part
    registration: Registration
    scan: Scan | None
    rock: Rock | None
    growth: Growth | None
    confidence: float

    def unlike_mm(self, factor: float) -> float:
        """Return how far any place of the part may lie, at another temperature, from where it is grown by `factor`."""
        if self.growth is None:
            return 0.0
        radius = float(np.linalg.norm(self.part.mesh.vertices - self.growth.anchor, axis=1).max())
        return radius * max(self.growth.k_hot - factor, factor - self.growth.k_cold)
