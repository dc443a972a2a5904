"""Unseen places in words, and which ends of the scan a fitted shaft completes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.motion.rock import Rock
from clearance.unseen.holes import Hole
from clearance.unseen.reach import Owners
from clearance.unseen.result import Needed, Unseen
from clearance.unseen.rims import Rims
from clearance.unseen.words import at, side

ALONG_SHAFT = 0.9
"""A rim whose surface would go on no more than this (cosine) along the shaft runs along it."""

ROUNDING_MM = 0.1


def told(place: Hole, owners: Owners, what: str, mend: str, how: str = "") -> Unseen:
    """Return a place with `what` could stand there, `how` it comes near and what would `mend` it."""
    need = owners.needs[place.owner]
    return Unseen(
        zone=need.zone.name,
        centre=place.centre,
        size_mm=place.size_mm,
        nearest_mm=place.nearest_mm,
        needed_mm=need.needed_mm,
        advice=f"{what}{how} could come within {place.nearest_mm:.0f} mm, {need.needed_mm:.1f} mm is needed: {mend}",
    )


def completed(rims: Rims, needs: Sequence[Needed], noise_mm: float) -> NDArray[np.bool_]:
    """Tell which rims run along a fitted shaft: beyond those it is the shaft itself that goes on, and is checked."""
    done = np.zeros(len(rims.points), bool)
    for fit in (need.zone.fit for need in needs if need.zone.fit is not None):
        axis = (fit.to - fit.from_) / fit.length_mm
        away = rims.points - fit.from_
        off = np.linalg.norm(away - np.outer(away @ axis, axis), axis=1) - fit.radius_mm
        on = np.abs(off) < 3 * (noise_mm + fit.sigma_surface_mm) + ROUNDING_MM
        done |= on & (np.abs(rims.outward @ axis) < ALONG_SHAFT)
    return done


def told_hole(hole: Hole, owners: Owners, rock: Rock | None, how: str = "") -> Unseen:
    """Return a hole in words."""
    return told(
        hole,
        owners,
        f"the scan has a hole {hole.size_mm:.0f} mm wide near {at(hole.centre)}; what stands there",
        f"dull the surface there and scan it again from {side(hole.normal, rock)}",
        how,
    )


def within_any(place: Array, holes: Sequence[Hole]) -> bool:
    """Tell whether a place lies in one of some holes."""
    return any(np.linalg.norm(place - hole.centre) < hole.size_mm for hole in holes)


def told_edge(edge: Hole, owners: Owners, rock: Rock | None, how: str = "") -> Unseen:
    """Return an end of the scan in words."""
    return told(
        edge,
        owners,
        f"the scan ends at a place {edge.size_mm:.0f} mm wide near {at(edge.centre)} and shows nothing behind; if "
        "the surface goes on, it or what stands on it",
        f"scan it again from {side(edge.normal, rock)} past that place, or, if you have looked and the surface really "
        "ends there, say so with a box about its edge in bay.ends",
        how,
    )
