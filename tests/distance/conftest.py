"""Makes tests/helpers importable (the brute-force reference), and holds the published segment cases."""

from __future__ import annotations

import pytest

# Segment pairs of D. Eberly, "Robust Computation of Distance Between Line Segments", and of the unit test
# DistSegmentSegment of his Geometric Tools library: (p0, p1, q0, q1, distance).
SEGMENT_PAIRS = {
    "crossing": ((0, 0, 0), (3, 4, 0), (2, 1, 0), (0, 3, 0), 0.0),
    "end against inside": ((0, 0, 0), (3, 4, 0), (0, -1, 0), (-1, 0, 0), 0.5**0.5),
    "inside against end": ((0, 0, 0), (3, 4, 0), (2, 1, 0), (3, 1, 0), 1.0),
    "end against end": ((0, 0, 0), (3, 4, 0), (0, -1, 0), (1, -1, 0), 1.0),
    "nearly parallel": (
        (-1.0896217473782599, 9.7236145595088601e-7, 0), (0.91220578597858548, -9.4369829432107506e-7, 0),
        (-0.90010447502136237, 9.0671446351334441e-7, 0), (1.0730877178721130, -9.8185787633992740e-7, 0),
        1.1575046138574e-7,
    ),
    "nearly parallel, crossing": (
        (-1.0264718499965966, 9.6163341007195407e-7, 0), (0.91950808032415809, -1.0094441192690283e-6, 0),
        (-1.0629447383806110, 9.2709540082141753e-7, 0), (1.0811583868227901, -1.0670017179567367e-6, 0), 0.0,
    ),
    "skew": (
        (0.77998990099877119, 0.61192502360790968, -0.22703111823648214),
        (0.53215344529598951, 0.85724585503339767, -0.10102437809109688),
        (-0.21277333982288837, 0.35091548087075353, -0.49557160679250956),
        (0.11881479667499661, 0.022494725417345762, -0.66426620958372951), 0.98292397116488739,
    ),
    # Skew lines come within 20.58 of each other outside both segments; the segments only within sqrt(1000).
    "skew, nearest at an end": ((0, 0, 0), (100, 0, 0), (20, 10, 30), (80, 60, 60), 1000**0.5),
}  # fmt: skip


@pytest.fixture(params=SEGMENT_PAIRS.values(), ids=SEGMENT_PAIRS.keys())
def segment_pair(request):
    """Two segments and their distance."""
    return request.param
