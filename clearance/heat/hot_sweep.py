"""Smallest clearance over every growth factor from cold to hot, from sweeps at a few of them.

Knows of no meshes: a function from factor to a certified sweep, and how far the part's points can
be from the anchor. A point at distance r from the anchor moves by r |dk| when the factor changes by
dk, so the clearance c(k) changes by no more (it is a Lipschitz function), and between two factors it
stays above two straight lines. The next factor asked is where those lines meet lowest (Piyavskii
1972, Shubert 1972, doi:10.1137/0709036).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from clearance.bounds import Bound
from clearance.motion.result import Sweep

TOLERANCE_MM = 0.05
"""Width of the bound aimed at."""

MOST_SWEEPS = 24
"""Sweeps after which the bound is left as wide as it is."""

ROUNDING_MM = 1e-9
"""Taken off what growth may cost, for the rounding of float64 lengths of up to some metres."""


@dataclass(frozen=True, eq=False, kw_only=True)
class GrowthSweep:
    """Certified minimum clearance of a pair over its motion and over the part's growth.

    Attributes
    ----------
    clearance : Bound
        Contains the least clearance over all factors from coldest to hottest, mm.
    worst : Sweep
        The sweep in which `clearance.upper` was found.
    factor : float
        The growth factor of that sweep; 1 is the size of the mesh.
    hot : bool
        The worst factor is nearer the hottest than the coldest.
    certificate : tuple of (factor, Sweep)
        All sweeps made, coldest first: with `radius_mm` and `floor_mm` they prove the lower bound
        (`least_between`).
    radius_mm : float
        No point of the part is farther from the anchor at factor 1.
    floor_mm : float or None
        Lower bound over all factors that was known beforehand.
    """

    clearance: Bound
    worst: Sweep
    factor: float
    hot: bool
    certificate: tuple[tuple[float, Sweep], ...]
    radius_mm: float
    floor_mm: float | None = None


def sweep_hot(
    sweep_at: Callable[[float], Sweep],
    k_cold: float,
    k_hot: float,
    radius_mm: float,
    tolerance_mm: float = TOLERANCE_MM,
    *,
    floor_mm: float | None = None,
    first: Sequence[float] = (),
    most_sweeps: int = MOST_SWEEPS,
) -> GrowthSweep:
    """Bound the least clearance over every growth factor in [k_cold, k_hot].

    Parameters
    ----------
    sweep_at : factor -> Sweep
        Its bound contains the clearance of the part grown by that factor.
    k_cold, k_hot : float
        Least and largest growth factor.
    radius_mm : float
        Largest distance from the anchor, at factor 1, of any point of the part that can matter.
    tolerance_mm : float
        Width of the bound aimed at. Where it is not reached in `most_sweeps` sweeps, or the sweeps
        themselves are wider, the bound is wider: it holds all the same. Where the bodies meet at some
        factor no more is spent on how deep they are at others.
    floor_mm : float, optional
        A lower bound over all factors known from elsewhere.
    first : sequence of float
        Factors to ask after the two ends.

    Raises
    ------
    ValueError
        k_cold above k_hot.
    """
    if not k_cold <= k_hot:
        raise ValueError(f"k_cold {k_cold} is above k_hot {k_hot}")
    known = {k: sweep_at(k) for k in dict.fromkeys((k_cold, k_hot, *first))}
    while True:
        lower, loosest = _lowest(known, radius_mm)
        if floor_mm is not None:
            lower = max(lower, floor_mm)
        factor = min(known, key=lambda k: known[k].clearance.upper)
        upper = known[factor].clearance.upper
        least = min(found.clearance.lower for found in known.values())
        near_enough = min(upper - tolerance_mm, least - tolerance_mm / 2)
        if lower >= near_enough or upper <= 0 or loosest in known or len(known) >= most_sweeps:
            break
        known[loosest] = sweep_at(loosest)
    return GrowthSweep(
        clearance=Bound(min(lower, upper), upper),
        worst=known[factor],
        factor=factor,
        hot=factor - k_cold > k_hot - factor,
        certificate=tuple(sorted(known.items())),
        radius_mm=radius_mm,
        floor_mm=floor_mm,
    )


def least_between(certificate: Sequence[tuple[float, Sweep]], radius_mm: float) -> float:
    """Return the lower bound, mm, that sweeps at some factors prove for all factors between the outermost."""
    return _lowest(dict(certificate), radius_mm)[0]


def _lowest(known: dict[float, Sweep], radius_mm: float) -> tuple[float, float]:
    """Lower bound over the whole range, mm, and the factor at which it is lowest."""
    at = sorted(known)
    if len(at) == 1:
        return known[at[0]].clearance.lower, at[0]
    lowest: list[tuple[float, float]] = []
    for a, b in pairwise(at):
        lower_a, lower_b = known[a].clearance.lower, known[b].clearance.lower
        reach = radius_mm * (b - a) + ROUNDING_MM
        if abs(lower_a - lower_b) >= reach:
            low = max(lower_a, lower_b) - reach
            lowest.append((low, a if lower_a < lower_b else b))
            continue
        share = min(max(0.5 + (lower_a - lower_b) / (2 * reach), 0.0), 1.0)
        lowest.append(((lower_a + lower_b - reach) / 2, a + share * (b - a)))
    return min(lowest)
