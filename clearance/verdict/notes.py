"""Plain sentences that a reader of the report must know to trust or doubt it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from clearance.frames import Array
from clearance.heat.growth import Growth
from clearance.job.motions import Rock
from clearance.job.mounts import roll_rate, strayed_mm
from clearance.job.schema import Job
from clearance.registration.result import Registration
from clearance.scene.contact import STEP_MM, ContactMask, PlacedFace
from clearance.scene.part import Part
from clearance.verdict.result import ZoneResult


def notes_of(
    job: Job,
    part: Part,
    results: Sequence[ZoneResult],
    registration: Registration,
    growth: Growth | None,
    peeled: int,
    masks: Mapping[str, ContactMask],
) -> tuple[str, ...]:
    """Return the notes of a check, those of the registration first."""
    notes = list(registration.notes)
    if not part.closed:
        notes.append(
            f"{part.name} is not a closed surface; whether something lies inside it was decided by winding number, "
            "and its holes were taken as they are"
        )
    if part.tolerance_source is not None:
        notes.append(part.tolerance_source)
    if job.rock is None:
        notes.append("the job has no [rock]: nothing was moved, the clearances are those at rest")
    else:
        notes += _rock_notes(job.rock, part, registration)
    if job.rock is not None and not any(zone.rides != part.rides for zone in job.zones):
        notes.append(f"part and all zones ride on the {part.rides}: the rock moves nothing against the part")
    if peeled:
        notes.append(f"{peeled} scan points lie on the engine and were moved with it")
    notes += _contact_notes(job, masks)
    notes += _heat_notes(growth)
    for result in results:
        notes += _zone_notes(result)
    return tuple(notes)


def _rock_notes(rock: Rock, part: Part, registration: Registration) -> list[str]:
    if rock.torque is None:
        return []
    low, high = rock.roll_degrees
    rate, axis = roll_rate(rock.mounts, rock.axis.point, rock.axis.direction), rock.axis
    told = (
        f"roll {low:.2f} to {high:.2f} degrees was worked out from torque {rock.torque[0]:g} to {rock.torque[1]:g} N m "
        f"over {rate / 1e3:.4g} kN m per radian of the mounts about the axis: springs taken as linear, at rest; shock, "
        "road load and stops are not in it"
    )
    placed, worst = registration.T_bay_part.apply(part.mesh.vertices), max(rock.torque, key=abs)
    off = strayed_mm(rock.mounts, axis.point, axis.direction, worst, placed)
    if off is None:
        return [told, "the mounts' rates do not hold the engine in every direction: it may move as lift and shift say"]
    return [
        told,
        f"free on these mounts the part lands up to {off:.1f} mm from a roll about the axis: let lift and "
        "shift cover that",
    ]


def _contact_notes(job: Job, masks: Mapping[str, ContactMask]) -> list[str]:
    if not job.part.contact:
        return []
    named = " and ".join(f"'{name}'" for name in job.part.contact)
    touched = {name: mask for name, mask in masks.items() if mask.points or mask.area_mm2}
    if not touched:
        return [f"contact: nothing of any zone lies on what {named} is meant to touch; is the part in its place?"]
    notes = []
    for zone, mask in touched.items():
        left = " and ".join(
            text
            for text, there in (
                (f"{mask.points} scan points", mask.points),
                (f"{mask.area_mm2:.0f} mm² of its mesh", mask.area_mm2),
            )
            if there
        )
        notes.append(f"{zone}: {left} on the surface that {named} is meant to touch were left out")
    return notes


def _heat_notes(growth: Growth | None) -> list[str]:
    if growth is None:
        return ["the part was taken cold and at its modelled size: growth with heat is not in these numbers"]
    told = [
        f"growth with heat: {growth.text}; the whole part at one temperature, free to grow, the engine and the "
        "surroundings as scanned"
    ]
    return told if growth.warning is None else [*told, growth.warning]


def pushing_notes(faces: Sequence[PlacedFace], growth: Growth | None) -> list[str]:
    """Tell of faces meant to touch (bay frame) that growth about its anchor moves into or off what they touch."""
    if growth is None:
        return []
    notes = []
    for face in faces:
        height = float((face.point - growth.anchor) @ face.normal)
        moved = max((height * (k - 1) for k in (growth.k_cold, growth.k_hot)), key=abs)
        if abs(moved) > STEP_MM:
            way = "into" if moved > 0 else "off"
            notes.append(
                f"contact: growth about the anchor moves '{face.name}' by {abs(moved):.1f} mm {way} what it is meant "
                "to touch, which was not checked: anchor the part at that face, or see that what it touches goes along"
            )
    return notes


def _zone_notes(result: ZoneResult) -> list[str]:
    zone, notes = result.zone, []
    if zone.fit is not None:
        fit = zone.fit
        notes.append(
            f"{zone.name}: a round shaft {2 * fit.radius_mm:.1f} mm across was fitted to {fit.arc_degrees:.0f} degrees "
            "of it; it was checked as far along as it was scanned, and is taken to be straight and round"
        )
    if zone.points is not None and result.at_rest_mm.lower < result.budget.guard:
        notes.append(
            f"{zone.name}: its scan points touch the part, or may, even at rest; if they show what the part bolts "
            "onto, or the part itself, name the place in bay.left_out: those are no neighbours to keep clear of; a "
            "face that is meant to touch may be named in part.contact instead, its radius reaching over all of it"
        )
    strays = len(zone.stray_points)
    if strays:
        nearest = result.nearest_raw_point_mm
        notes.append(
            f"{zone.name}: {strays} stray scan point(s) that no neighbours support were left out of the verdict; "
            f"the nearest point as scanned, strays counted in, is at {nearest:.2f} mm"
            + _place(result.nearest_raw_point)
            + (": look at them" if _matters(result) else "")
        )
    if zone.mesh is not None and zone.fit is None:
        notes.append(f"{zone.name}: its mesh was taken as exact and complete")
        if not zone.closed:
            notes.append(f"{zone.name}: its mesh is not closed, so it has no inside; only its surface was checked")
    return notes


def _place(point: Array | None) -> str:
    return "" if point is None else f", at [{', '.join(f'{round(float(x))}' for x in point)}] in the bay as scanned"


def _matters(result: ZoneResult) -> bool:
    raw = result.nearest_raw_point_mm
    return raw is not None and raw < min(result.sweep.clearance.upper, result.zone.gap_mm + result.budget.guard)
