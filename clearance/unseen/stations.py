"""What the stations of a scan saw, as far as the job tells where they were."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.scene.mesh import IntArray
from clearance.scene.scan import Scan
from clearance.unseen.gaps import Gaps
from clearance.unseen.sight import Seen, Sight, sight_of


def sights_of(
    scan: Scan, stations: Array | None, file_of: IntArray | None, low: Array, high: Array, finest_mm: float
) -> tuple[bool, list[Sight]]:
    """Return whether each station has its own file, and what each saw of the box from `low` to `high`."""
    if stations is None or not len(stations):
        return False, []
    own = file_of is not None and len(stations) == len(np.unique(file_of))
    usable = ~scan.stray
    sights = []
    for number, eye in enumerate(stations):
        points = scan.points[usable & (file_of == number)] if own and file_of is not None else scan.points[usable]
        sights.append(sight_of(np.asarray(eye, np.float64), points, low, high, finest_mm / 2))
    return own, sights


def not_explained(gaps: Gaps, sights: Sequence[Sight], own: bool, sigma_mm: float) -> Gaps:
    """Drop gaps that some station saw through, and those that lie in the shadow of measured things.

    What hides in a shadow is told by the blind places. A gap stays if a station that saw its rim had
    nothing before it and yet got nothing from it.
    """
    margin = 3 * sigma_mm + gaps.radius_mm / 2
    through, missed = np.zeros(len(gaps.places), bool), np.zeros(len(gaps.places), bool)
    for sight in sights:
        grain = 2 * sight.pixel_rad * np.linalg.norm(gaps.rim - sight.eye, axis=1)
        place, rim = sight.of(gaps.places, margin), sight.of(gaps.rim, 3 * sigma_mm + grain)
        through |= place == Seen.FREE
        missed |= (rim == Seen.AT_SURFACE) & (place != Seen.BEHIND)
    return _kept(gaps, missed & ~through if own else missed)


def _kept(gaps: Gaps, keep: NDArray[np.bool_]) -> Gaps:
    return Gaps(gaps.places[keep], gaps.radius_mm[keep], gaps.rim[keep], gaps.normals[keep])


def seen_free(places: Array, sights: Sequence[Sight], margin_mm: float) -> NDArray[np.bool_]:
    """Tell which of (n, 3) places some station saw through."""
    free = np.zeros(len(places), dtype=bool)
    for sight in sights:
        free |= sight.of(places, margin_mm) == Seen.FREE
    return free
