"""Usual tolerances of a finished part by how it is made, for parts that state none. Trade practice, wider end taken."""

from __future__ import annotations

from bisect import bisect_left

from clearance.job.values import Made

PRINTED_MM, PRINTED_UP_TO_MM, PRINTED_SHARE = 0.2, 100.0, 0.002
"""Metal powder bed, as built: ± 0.1 to 0.2 mm up to 100 mm, ± 0.1 to 0.2 % above (common practice)."""

WELDED_MM = 2.0
"""Welded tube manifold: faces within ± 1 to 2 mm of their place (common practice)."""

DCTG_12_UP_TO_MM = (10, 16, 25, 40, 63, 100, 160, 250, 400, 630, 1000, 1600, 2500, 4000, 6300, 10000)
DCTG_12_MM = (4.2, 4.4, 4.6, 5.0, 5.6, 6.0, 7.0, 8.0, 9.0, 10.0, 11.0, 13.0, 15.0, 17.0, 20.0, 23.0)
"""ISO 8062-3:2007, table 2, grade DCTG 12: whole width of the tolerance, mm, for a nominal size up to so many mm.

Up to 630 mm read off a stored copy of the table, above it from memory. That grade 12 is the one to expect of a sand
casting is common practice: annex A of the same standard gives 8 to 12 for machine or shell moulding in long series and
11 to 14 for single castings in resin-bonded sand (from memory).
"""


def default_tolerance(made: Made, size_mm: float) -> tuple[float, str]:
    """Return the half-width of a part's tolerance, mm, and a sentence that says where it is from.

    Parameters
    ----------
    made : "printed metal", "welded tube" or "cast"
    size_mm : float
        Longest side of the part's box, mm.
    """
    if made == "printed metal":
        tolerance = max(PRINTED_MM, PRINTED_SHARE * size_mm)
        return tolerance, (
            f"no tolerance is stated: ± {tolerance:.2f} mm taken, printed metal as built, "
            f"{PRINTED_MM:g} mm up to {PRINTED_UP_TO_MM:g} mm and {100 * PRINTED_SHARE:g} % above (common practice)"
        )
    if made == "welded tube":
        return WELDED_MM, (
            f"no tolerance is stated: ± {WELDED_MM:.2f} mm taken, welded tube manifold, "
            "the wider end of 1 to 2 mm (common practice)"
        )
    row = min(bisect_left(DCTG_12_UP_TO_MM, size_mm), len(DCTG_12_MM) - 1)
    tolerance = DCTG_12_MM[row] / 2
    return tolerance, (
        f"no tolerance is stated: ± {tolerance:.2f} mm taken, cast, half of ISO 8062-3:2007 grade DCTG 12 for "
        f"{size_mm:.0f} mm, a usual grade of sand castings (common practice; single hand-moulded castings are coarser)"
    )
