"""A number known only to lie between two limits."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Bound:
    """Closed interval [lower, upper] that contains the true value, mm.

    There is on purpose no way to turn it into one float: say which end you mean.
    """

    lower: float
    upper: float

    def __post_init__(self) -> None:
        if math.isnan(self.lower) or math.isnan(self.upper) or self.lower > self.upper:
            raise ValueError(f"not a bound: [{self.lower}, {self.upper}]")

    @property
    def width(self) -> float:
        """upper - lower."""
        return self.upper - self.lower

    def contains(self, value: float) -> bool:
        """Tell whether `value` lies in the interval."""
        return self.lower <= value <= self.upper

    def shifted(self, by: float) -> Bound:
        """Return the bound moved by `by`."""
        return Bound(self.lower + by, self.upper + by)
