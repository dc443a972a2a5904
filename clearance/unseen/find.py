"""What nobody saw near the part: missing surface, edges of the scan and blind places, worst first.

Where stations are known, every place nearer to the part than needed must lie on a line of sight or behind
measured surface. Rims that face each other across nothing are holes (`clearance.unseen.gaps`). Without
stations, or where several share one merged scan, every rim's surface is taken to go on by up to the needed
clearance, with up to 15 mm standing out of it, unless the scan shows something behind that place
(`clearance.unseen.edges`).

Not seen by any of this, and so to be said beside every pass: a thing that no scan point touches and that
lies in no shadow, such as a wire that never gave a return; without stations also what lies farther from any
scanned surface than the needed clearance, such as a thing in the shadow between floor and wall behind a rail,
and anything that stands out of the unseen back of a thing. A hole is looked at from 8 mm on; the allowance a for the
spacing of the points covers those of width w in a flat surface, w^2 / 4 <= 2 g a + a^2 at a gap g.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.motion.pair import pair_motion
from clearance.motion.rock import Rock
from clearance.scene.cubes import cubes
from clearance.scene.mesh import IntArray
from clearance.scene.neighbours import Neighbours
from clearance.scene.part import Part
from clearance.scene.scan import Scan
from clearance.unseen.edges import edges_of, not_ended
from clearance.unseen.gaps import WIDEST_MM, Gaps, find_gaps
from clearance.unseen.holes import STUD_MM, Hole, holes_of
from clearance.unseen.reach import Owners, Reach
from clearance.unseen.result import Needed, Unseen
from clearance.unseen.rims import PATCH, Rims, find_rims
from clearance.unseen.shadows import SMALLEST_MM, Shadow, cells_about, find_shadows
from clearance.unseen.sight import Seen, Sight, sight_of
from clearance.unseen.words import at, side

MOST_LISTED = 20

ALONG_SHAFT = 0.9
"""A rim whose surface would go on no more than this (cosine) along the shaft runs along it."""

ROUNDING_MM = 0.1

THIN_MM = 1.0
"""Scan points are thinned to one in a cube of this side: holes of `SMALLEST_MM` still show."""


def find_unseen(
    part: Part,
    scan: Scan,
    needs: Sequence[Needed],
    rock: Rock | None,
    *,
    stations: Array | None = None,
    file_of: IntArray | None = None,
    ends: Sequence[Array] = (),
    excused: Callable[[Unseen], bool] = lambda place: False,
) -> tuple[Unseen, ...]:
    """Return the unseen places where something could stand nearer to the part than a zone needs.

    Parameters
    ----------
    part : Part
        In the bay's frame at the neutral pose.
    scan : Scan
    needs : sequence of Needed
        Every zone with its gap and guard.
    rock : Rock or None
    stations : (k, 3) float64, optional
        Where the scanner stood, bay frame, mm.
    file_of : (n,) int64, optional
        The scan file of each point. Station i belongs to file i where there are as many; else every
        station is taken to have seen all points (`clearance.unseen.sight` says what that assumes), and
        the edges of the scan are looked at as where no station is known.
    ends : sequence of (2, 3) float64
        Boxes, low and high corner, mm, within which the surface is known to end where its scan does.
    excused : Unseen -> bool
        Places that do not matter: holes in what the part is meant to touch.

    Returns
    -------
    tuple of Unseen
        Worst first. Only the first 20, and the worst of every zone; the last then tells how many more there are.
    """
    usable = scan.points[~scan.stray]
    if not needs or not len(usable):
        return ()
    # Nobody knows what an unseen thing rides on: it is moved against the part.
    other = "chassis" if part.rides == "engine" else "engine"
    reach = Reach(part.mesh, part.closed, pair_motion(part.rides, other, rock))
    out = max(need.needed_mm for need in needs) + WIDEST_MM
    owners = Owners(needs, reach.low - out, reach.high + out)
    near = usable[((usable >= reach.low - out) & (usable <= reach.high + out)).all(axis=1)]
    near = near[cubes(near, THIN_MM)[0]]
    if len(near) <= PATCH + 1:
        return tuple(place for place in _too_few(near, reach, owners) if not excused(place))
    tree = Neighbours(near)
    cells = cells_about(reach, owners)
    high = cells.low + cells.side_mm * np.array(cells.shape)
    own, sights = _sights(scan, stations, file_of, cells.low, high, cells.side_mm)
    rims = not_ended(find_rims(near, tree), ends)
    gaps = find_gaps(rims, tree)
    if sights:
        gaps = _not_explained(gaps, sights, own, scan.noise_mm)
    holes = holes_of(gaps, reach, owners)
    found = [_told_hole(h, owners, rock) for h in holes]
    if not own:
        open_rims = rims.of(~_completed(rims, needs, scan.noise_mm))
        edges = edges_of(open_rims, tree, near, reach, owners)
        found += [_told_edge(e, owners, rock) for e in edges if not _within(e.centre, holes)]
    if sights:
        shadows = find_shadows(cells, sights, reach, owners, tree, scan.noise_mm)
        found += [_told_shadow(s, owners, tree, rock) for s in shadows]
    return _listed([place for place in found if not excused(place)])


def _too_few(near: Array, reach: Reach, owners: Owners) -> tuple[Unseen, ...]:
    """Return the one place at which points too few to show where their surface ends come near the part, if they do."""
    if not len(near):
        return ()
    owner, needed = owners.of(near)
    limit = 2 * needed + STUD_MM
    lower = reach.lower_mm(near, float(limit.max()))
    worst = int(np.argmin(lower - limit))
    if lower[worst] >= limit[worst]:
        return ()
    what = (
        f"only {len(near)} scan points lie about the part, the nearest near {at(near[worst])}; what stands beside them"
    )
    place = Hole(near[worst], np.array([0.0, 0.0, 1.0]), int(owner[worst]), 0.0, 0.0)
    return (_told(place, owners, what, "scan the surroundings of the part"),)


def _completed(rims: Rims, needs: Sequence[Needed], noise_mm: float) -> NDArray[np.bool_]:
    """Tell which rims run along a fitted shaft: beyond those it is the shaft itself that goes on, and is checked."""
    done = np.zeros(len(rims.points), bool)
    for fit in (need.zone.fit for need in needs if need.zone.fit is not None):
        axis = (fit.to - fit.from_) / fit.length_mm
        away = rims.points - fit.from_
        off = np.linalg.norm(away - np.outer(away @ axis, axis), axis=1) - fit.radius_mm
        on = np.abs(off) < 3 * (noise_mm + fit.sigma_surface_mm) + ROUNDING_MM
        done |= on & (np.abs(rims.outward @ axis) < ALONG_SHAFT)
    return done


def _sights(
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


def _not_explained(gaps: Gaps, sights: Sequence[Sight], own: bool, sigma_mm: float) -> Gaps:
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


def _told_hole(hole: Hole, owners: Owners, rock: Rock | None) -> Unseen:
    return _told(
        hole,
        owners,
        f"the scan has a hole {hole.size_mm:.0f} mm wide near {at(hole.centre)}; what stands there",
        f"dull the surface there and scan it again from {side(hole.normal, rock)}",
    )


def _within(place: Array, holes: Sequence[Hole]) -> bool:
    return any(np.linalg.norm(place - hole.centre) < hole.size_mm for hole in holes)


def _told_edge(edge: Hole, owners: Owners, rock: Rock | None) -> Unseen:
    return _told(
        edge,
        owners,
        f"the scan ends at a place {edge.size_mm:.0f} mm wide near {at(edge.centre)} and shows nothing behind; if "
        "the surface goes on, it or what stands on it",
        f"scan it again from {side(edge.normal, rock)} past that place, or, if you have looked and the surface really "
        "ends there, say so with a box about its edge in bay.ends",
    )


def _told_shadow(shadow: Shadow, owners: Owners, tree: Neighbours, rock: Rock | None) -> Unseen:
    centre = shadow.places[np.argmin(np.linalg.norm(shadow.places - shadow.places.mean(axis=0), axis=1))]
    way = _open_side(centre, tree, rock)
    return _told(
        Hole(centre, way, shadow.owner, shadow.size_mm, max(0.0, float(shadow.lower_mm.min()))),
        owners,
        f"no station saw the place {shadow.size_mm:.0f} mm wide near {at(centre)}; what stands there",
        f"scan again from {side(way, rock)}",
    )


def _told(place: Hole, owners: Owners, what: str, mend: str) -> Unseen:
    need = owners.needs[place.owner]
    return Unseen(
        zone=need.zone.name,
        centre=place.centre,
        size_mm=place.size_mm,
        nearest_mm=place.nearest_mm,
        needed_mm=need.needed_mm,
        advice=f"{what} could come within {place.nearest_mm:.0f} mm, {need.needed_mm:.1f} mm is needed: {mend}",
    )


def _open_side(centre: Array, tree: Neighbours, rock: Rock | None) -> Array:
    """Return which of the bay's six directions leads out of a place past no measured surface for longest."""
    up, forward = (rock.up, rock.forward) if rock is not None else (np.array([0.0, 0, 1]), np.array([1.0, 0, 0]))
    left = np.cross(up, forward)
    ways = np.stack([up, forward, left, -left, -forward, -up])
    steps = np.arange(SMALLEST_MM, WIDEST_MM, SMALLEST_MM)
    places = centre + steps[:, None, None] * ways
    free = tree.nearest(places.reshape(-1, 3), 2)[0][:, 0].reshape(len(steps), len(ways)) > SMALLEST_MM
    return np.asarray(ways[np.argmin(np.vstack([free, np.zeros(len(ways), bool)]), axis=0).argmax()])


def _listed(found: list[Unseen]) -> tuple[Unseen, ...]:
    """Order by how far each falls short and cut the list, but for the worst of each zone, saying what was cut."""
    worst_first = sorted(found, key=lambda u: (u.nearest_mm - u.needed_mm, -u.size_mm))
    shown = worst_first[:MOST_LISTED]
    for place in worst_first[MOST_LISTED:]:
        if all(place.zone != other.zone for other in shown):
            shown.append(place)
    more = len(worst_first) - len(shown)
    if more > 0:
        shown[-1] = replace(shown[-1], advice=f"{shown[-1].advice} ({more} more such places are not listed)")
    return tuple(shown)
