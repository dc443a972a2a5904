"""Mean coefficients of thermal expansion, and the strain they give. What a material is; no data."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from clearance.scene.densities import Density

ROOM_C = 15.0
"""Lowest temperature, °C, at which a table that starts at room temperature is used.

Tables start at 0, 20, 21 (70 °F) or 25 °C. Below its start the first coefficient is held: over 10 K,
were it a tenth off there, that is 2e-5, 0.006 mm on 300 mm.
"""


@dataclass(frozen=True, kw_only=True)
class Expansion:
    """One source's mean coefficients of linear thermal expansion.

    Attributes
    ----------
    source : str
        Where the values are from; "from memory" where they were recalled, not looked up.
    reference_C : float
        Temperature from which the means are counted, °C.
    mean : tuple of (to_C, per_K)
        Mean coefficient from the reference to that temperature, 1e-6 / K, in rising order.
    """

    source: str
    reference_C: float
    mean: tuple[tuple[float, float], ...]

    @property
    def range_C(self) -> tuple[float, float]:
        """Temperatures, °C, for which this source gives a strain."""
        return min(self.reference_C, ROOM_C), self.mean[-1][0]

    def covers(self, temperature_C: float) -> bool:
        """Tell whether the source gives a strain at this temperature."""
        low, high = self.range_C
        return low <= temperature_C <= high

    def mean_per_K(self, to_C: float) -> float:
        """Return the mean coefficient, 1e-6 / K, from the reference to `to_C`: linear between the values given.

        Up to the first value given, that value. Raises ValueError beyond `range_C`.
        """
        if not self.covers(to_C):
            raise ValueError(f"{to_C} °C is beyond {self.range_C}")
        at = [temperature for temperature, _ in self.mean]
        i = bisect_left(at, to_C)
        if i == 0:
            return self.mean[0][1]
        (t0, a0), (t1, a1) = self.mean[i - 1], self.mean[i]
        return a0 + (a1 - a0) * (to_C - t0) / (t1 - t0)

    def strain_at(self, temperature_C: float) -> float:
        """Return the growth per length from the reference temperature: mean coefficient times difference."""
        return 1e-6 * self.mean_per_K(temperature_C) * (temperature_C - self.reference_C)


@dataclass(frozen=True, kw_only=True)
class Material:
    """A material the part may be made of.

    Attributes
    ----------
    name : str
    also : tuple of str
        Other names it is found by.
    density : Density
    expansions : tuple of Expansion
        In order of preference; two sources are never mixed within one strain.
    spread : float
        Relative half-width by which the true coefficient may differ from the source's.
    spread_from : str
        Which sources disagree by that much.
    service_C : float
        Temperature, °C, above which the service guide does not recommend it in air.
    service_from : str
    """

    name: str
    also: tuple[str, ...]
    density: Density
    expansions: tuple[Expansion, ...]
    spread: float
    spread_from: str
    service_C: float
    service_from: str

    @property
    def names(self) -> tuple[str, ...]:
        """All names it is found by."""
        return (self.name, *self.also)

    def expansion_over(self, *temperatures_C: float) -> Expansion | None:
        """Return the first source that covers all the temperatures, °C; None where none does."""
        return next((e for e in self.expansions if all(map(e.covers, temperatures_C))), None)
