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

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from clearance.frames import Array
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.rock import Rock
from clearance.scene.cubes import cubes
from clearance.scene.mesh import IntArray
from clearance.scene.neighbours import Neighbours
from clearance.scene.part import Part
from clearance.scene.scan import Scan
from clearance.unseen.edges import edges_of, not_ended
from clearance.unseen.gaps import WIDEST_MM, find_gaps
from clearance.unseen.holes import STUD_MM, Hole, holes_of
from clearance.unseen.moving import THIN_MM, Looked, find_moving
from clearance.unseen.reach import Owners, Reach
from clearance.unseen.result import Needed, Unseen
from clearance.unseen.rims import PATCH, find_rims
from clearance.unseen.shadows import SMALLEST_MM, Shadow, cells_about, find_shadows
from clearance.unseen.stations import not_explained, sights_of
from clearance.unseen.told import completed, told, told_edge, told_hole, within_any
from clearance.unseen.words import at, side

MOST_LISTED = 20


def find_unseen(
    part: Part,
    scan: Scan,
    needs: Sequence[Needed],
    rock: Rock | None,
    *,
    stations: Array | None = None,
    file_of: IntArray | None = None,
    ends: Sequence[Array] = (),
    motions: Mapping[str, PairMotion] | None = None,
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
    motions : by a zone's name, PairMotion, optional
        How each moves against the part: about zones with a motion of their own is looked over that motion too.
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
    looked = Looked(scan, stations, file_of, ends, rock)
    moving = find_moving(part, looked, needs, motions or {})
    # Nobody knows what an unseen thing rides on: it is moved against the part.
    other = "chassis" if part.rides == "engine" else "engine"
    reach = Reach(part.mesh, part.closed, pair_motion(part.rides, other, rock))
    out = max(need.needed_mm for need in needs) + WIDEST_MM
    owners = Owners(needs, reach.low - out, reach.high + out)
    near = usable[((usable >= reach.low - out) & (usable <= reach.high + out)).all(axis=1)]
    near = near[cubes(near, THIN_MM)[0]]
    if len(near) <= PATCH + 1:
        return _listed([place for place in (*_too_few(near, reach, owners), *moving) if not excused(place)])
    tree = Neighbours(near)
    cells = cells_about(reach, owners)
    high = cells.low + cells.side_mm * np.array(cells.shape)
    own, sights = sights_of(scan, stations, file_of, cells.low, high, cells.side_mm)
    rims = not_ended(find_rims(near, tree), ends)
    gaps = find_gaps(rims, tree)
    if sights:
        gaps = not_explained(gaps, sights, own, scan.noise_mm)
    holes = holes_of(gaps, reach, owners)
    found = [*moving, *(told_hole(h, owners, rock) for h in holes)]
    if not own:
        open_rims = rims.of(~completed(rims, needs, scan.noise_mm))
        edges = edges_of(open_rims, tree, near, reach, owners)
        found += [told_edge(e, owners, rock) for e in edges if not within_any(e.centre, holes)]
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
    return (told(place, owners, what, "scan the surroundings of the part"),)


def _told_shadow(shadow: Shadow, owners: Owners, tree: Neighbours, rock: Rock | None) -> Unseen:
    centre = shadow.places[np.argmin(np.linalg.norm(shadow.places - shadow.places.mean(axis=0), axis=1))]
    way = _open_side(centre, tree, rock)
    return told(
        Hole(centre, way, shadow.owner, shadow.size_mm, max(0.0, float(shadow.lower_mm.min()))),
        owners,
        f"no station saw the place {shadow.size_mm:.0f} mm wide near {at(centre)}; what stands there",
        f"scan again from {side(way, rock)}",
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
