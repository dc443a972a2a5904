"""Which points of the bay's scan ride with the engine, though they were scanned with the chassis."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Peeled:
    """Scan points by whether they lie on the engine.

    Attributes
    ----------
    on_engine : (n,) bool
        Lie on it: they ride with it and leave the chassis.
    doubtful : (n,) bool
        Lie near it: they may ride with it or not, so both are checked.
    """

    on_engine: Mask
    doubtful: Mask

    @property
    def rides(self) -> Mask:
        """Points that are moved with the engine."""
        return self.on_engine | self.doubtful

    @property
    def stays(self) -> Mask:
        """Points that stay with what their zone rides on."""
        return ~self.on_engine
