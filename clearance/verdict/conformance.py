"""Decision rules of metrology as plain formulas: conformance probability, guard band, combined uncertainty."""

from __future__ import annotations

import math
from collections.abc import Iterable

from scipy.stats import norm


def conformance_probability(
    measured: float, standard: float, lower: float = -math.inf, upper: float = math.inf
) -> float:
    """Return the probability that the true value lies within [lower, upper].

    For a normal distribution about `measured` with standard uncertainty `standard`, all in one unit:
    p = Phi((upper - y) / u) - Phi((lower - y) / u) (JCGM 106:2012, 7.2 to 7.4). With u = 0 the value
    is known, and the limits themselves conform. Raises ValueError for a negative or non-finite u.
    """
    if not (math.isfinite(measured) and math.isfinite(standard) and standard >= 0):
        raise ValueError("a measured value needs a finite standard uncertainty of 0 or more")
    if standard == 0:
        return 1.0 if lower <= measured <= upper else 0.0
    above, below = (measured - lower) / standard, (measured - upper) / standard
    if above + below < 0:  # Nearer the lower limit: subtract the smaller tails, which float64 tells apart.
        return float(norm.cdf(above) - norm.cdf(below))
    return float(norm.sf(below) - norm.sf(above))


def guard_factor(confidence: float) -> float:
    """Return k: one limit is kept with probability `confidence` by a value k u inside it (JCGM 106:2012, 8.3.2)."""
    return float(norm.ppf(confidence))


def combined(components: Iterable[float]) -> float:
    """Return the root of the sum of squares of independent c_i u_i (JCGM 100:2008, 5.1.2, first order).

    A quantity whose c_i is zero where it was evaluated drops out, however uncertain it is
    (5.1.2, note): keep such terms by their second order.
    """
    return math.hypot(*components)


def rectangular(half_width: float) -> float:
    """Return the standard uncertainty a / sqrt(3) of a value equally likely within ± a (JCGM 100:2008, 4.3.7)."""
    return half_width / math.sqrt(3)


def effective_freedom(components: Iterable[tuple[float, float]]) -> float:
    """Return the effective degrees of freedom of combined (c_i u_i, degrees of freedom) pairs.

    Welch-Satterthwaite: u^4 / sum(u_i^4 / nu_i) (JCGM 100:2008, G.4.1, G.2b). Infinite freedom is allowed.
    """
    pairs = list(components)
    total = combined(u for u, _ in pairs)
    spread = math.fsum(u**4 / freedom for u, freedom in pairs)
    return math.inf if spread == 0 else total**4 / spread
