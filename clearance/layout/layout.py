"""The zones around a placed part, how each moves against it, and what the scan missed between."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearance.errors import InputError
from clearance.frames import Array
from clearance.job.schema import Job
from clearance.layout.placement import Placement, ends_of, stations_of
from clearance.motion.pair import PairMotion, pair_motion
from clearance.motion.rock import rock_of
from clearance.motion.zone_motion import zone_motion_of
from clearance.registration.peel import model_of, peel
from clearance.scene.contact import (
    ContactMask,
    PlacedFace,
    contact_slack_mm,
    covers,
    placed_faces,
    reach_mm,
    without_contact,
)
from clearance.scene.mesh import Mesh
from clearance.scene.zone import Zone
from clearance.scene.zones import Zones, build_zones
from clearance.unseen.find import find_unseen
from clearance.unseen.result import Needed, Unseen
from clearance.verdict.setting import Setting
from clearance.verdict.support import with_support

BESIDE_GAPS, BESIDE_MM = 1.5, 20.0
"""A face may leave out what lies beside it on its plane: so many of the largest gap, and so many mm, beyond it."""

GUARD_MM = 5.0
"""Guard that no sound job exceeds: scan points are brought onto their surface within gap, motion and this."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Layout:
    """Everything in its place in the bay.

    Attributes
    ----------
    motions : by a zone's name, how it moves against the part
    faces, masks : faces that are meant to touch and, by a zone's name, what they leave out of it
    peeled : scan points that lie on the engine and ride with it
    views : after a move, the part as seen from each thing that was moved, in the scan as it was taken:
        what the scan missed may ride on that thing
    """

    setting: Setting
    zones: Zones
    motions: Mapping[str, PairMotion]
    faces: tuple[PlacedFace, ...]
    masks: Mapping[str, ContactMask]
    peeled: int
    views: tuple[Layout, ...] = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class Standing:
    """What stands in the bay, before what is meant to touch is left out of it; `peeled` as in `Layout`."""

    setting: Setting
    zones: Zones
    peeled: int


def lay_out(placed: Placement, reach: Mesh | None = None) -> Layout:
    """Build the zones in the bay around the placed part. Raises InputError where a zone cannot be built.

    `reach` as in `stand`.
    """
    return settle(placed, stand(placed, reach=reach))


def stand(placed: Placement, beyond_mm: float = 0.0, reach: Mesh | None = None) -> Standing:
    """Build the zones as they stand in the bay, for a part that may be moved `beyond_mm` from its place.

    Raises InputError where a zone cannot be built. `reach`, bay frame, mm: what scan points must be near to be
    brought onto their surfaces, if not the part alone.
    """
    job, scan, registration, engine = placed.job, placed.scan, placed.registration, placed.engine
    in_bay, rock = placed.part.moved(registration.T_bay_part), rock_of(job.rock)
    growth = placed.growth.moved(registration.T_bay_part) if placed.growth else None
    peeled = peel(model_of(engine), registration, scan) if engine and engine.peel and scan else None
    setting = Setting(
        part=in_bay,
        registration=registration,
        scan=scan,
        rock=rock,
        growth=growth,
        confidence=job.decision.confidence,
    )
    if scan is not None:
        within = _within_mm(job, setting) + beyond_mm
        setting = replace(setting, scan=with_support(scan, reach or in_bay.mesh, within))
    zones = build_zones(job, setting.scan, peeled)
    return Standing(setting=setting, zones=zones, peeled=int(peeled.on_engine.sum()) if peeled else 0)


def settle(placed: Placement, standing: Standing, views: tuple[Layout, ...] = ()) -> Layout:
    """Leave out what is meant to touch and tell how each zone moves. Raises InputError where nothing of a zone is left.

    `views` as in `Layout`.
    """
    job, setting = placed.job, standing.setting
    faces = placed_faces(job, setting.part, placed.registration.T_bay_part)
    zones, masks = _without_contact(job, standing.zones, faces, setting)
    motions = _motions(job, zones.zones, setting)
    _check_still_contact(job, standing.zones.zones, zones.zones, motions)
    return Layout(
        setting=setting,
        zones=zones,
        faces=faces,
        masks=masks,
        motions=motions,
        peeled=standing.peeled,
        views=views,
    )


def _motions(job: Job, zones: Sequence[Zone], setting: Setting) -> dict[str, PairMotion]:
    """Return how each zone moves against the part, by the zone's name.

    Points peeled off onto the engine leave the motion of the zone they were caught in.
    """
    tables = {table.name: table for table in job.zones}
    own = {name: zone_motion_of(table, job.links) for name, table in tables.items()}
    return {
        zone.name: pair_motion(
            setting.part.rides,
            own[zone.table] if zone.rides == tables[zone.table].rides else zone.rides,
            setting.rock,
        )
        for zone in zones
    }


def _without_contact(
    job: Job, zones: Zones, faces: Sequence[PlacedFace], setting: Setting
) -> tuple[Zones, dict[str, ContactMask]]:
    """Leave out of the zones what the part is meant to touch. Raises InputError where nothing else is left."""
    masks, kept = dict[str, ContactMask](), list[Zone]()
    if not faces:
        return zones, masks
    scan = setting.scan
    sigma = max(setting.registration.sigma_mm(face.point, face.normal) for face in faces)
    slack = contact_slack_mm(scan.noise_mm if scan else 0.0, sigma, len(scan.points) if scan else 0)
    _check_faces(job, faces, slack)
    for zone in zones.zones:
        cut, masks[zone.name] = without_contact(zone, faces, slack)
        if (cut.points is not None and not len(cut.points)) or (cut.mesh is not None and not len(cut.mesh.faces)):
            found = f"all of zone '{zone.name}' lies on what the part is meant to touch"
            raise InputError(job.file, found, "leave the zone out, or give the face a smaller radius", "part.contact")
        kept.append(cut)
    return replace(zones, zones=tuple(kept)), masks


def _check_faces(job: Job, faces: Sequence[PlacedFace], slack_mm: float) -> None:
    """Refuse faces that are no face of the part, or whose disc leaves out far more than the face could touch."""
    for face in faces:
        reach = reach_mm(face, slack_mm)
        if reach is None:
            found = f"the part has no surface on the plane of '{face.name}' within {face.radius_mm:g} mm of its point"
            raise InputError(
                job.file, found, "give point and normal of the face as they are on the part", "part.contact"
            )
        most = reach + BESIDE_GAPS * max(zone.required_gap for zone in job.zones) + BESIDE_MM
        if face.radius_mm > most:
            found = f"'{face.name}' has a radius of {face.radius_mm:g} mm, but the face reaches {reach:.0f} mm"
            wanted = f"give it a radius of up to {most:.0f} mm: what it cannot touch must not be left out"
            raise InputError(job.file, found, wanted, "part.contact")


def _check_still_contact(
    job: Job, whole: Sequence[Zone], left: Sequence[Zone], motions: Mapping[str, PairMotion]
) -> None:
    """Refuse a face meant to touch what moves against the part: the part could go through what was left out.

    Points that may also ride with the part (peeled in doubt) stay masked where they stand still.
    """
    for zone, cut in zip(whole, left, strict=True):
        if not motions[zone.name].moves:
            continue
        if zone.points is not None and cut.points is not None:
            twins = [z.points for z in whole if z.table == zone.table and z is not zone and z.points is not None]
            lost = _missing(zone.points, np.concatenate([cut.points, *twins]))
        else:
            lost = zone.mesh is not cut.mesh
        if lost:
            found = f"zone '{zone.name}' touches it, but rides on the {zone.rides} and moves against the part"
            wanted = (
                "give what the part bolts onto a zone of its own that rides with the part, or, if it is the engine in "
                "the scan, add [engine] with peel, or name it in bay.left_out"
            )
            raise InputError(job.file, found, wanted, "part.contact")


def _missing(some: Array, every: Array) -> bool:
    """Tell whether one of (n, 3) points is not among (m, 3), bit by bit."""
    return len(np.unique(np.concatenate([some, every]), axis=0)) > len(np.unique(every, axis=0))


def _within_mm(job: Job, setting: Setting) -> float:
    """Return how near to the part at rest a scan point must be to matter: largest gap, guard and motion."""
    part, other = setting.part, "chassis" if setting.part.rides == "engine" else "engine"
    motion = pair_motion(part.rides, other, setting.rock)
    moves = float(motion.wander_mm(motion.arms_mm(part.mesh.vertices, of_part=True)).max())
    return max(zone.required_gap for zone in job.zones) + GUARD_MM + 2 * moves + setting.unlike_mm(1.0)


def unseen_near(layout: Layout, job: Job, needed_mm: Mapping[str, float]) -> tuple[Unseen, ...]:
    """Return the places near the part that the scan missed; none where the job has no scan.

    `needed_mm`: gap and guard of each zone, by its name.
    """
    return tuple(u for view in (layout, *layout.views) for u in _unseen_in(view, job, needed_mm))


def _unseen_in(layout: Layout, job: Job, needed_mm: Mapping[str, float]) -> tuple[Unseen, ...]:
    setting = layout.setting
    if setting.scan is None:
        return ()
    grown_mm = setting.unlike_mm(1.0)
    needs = [Needed(zone=zone, needed_mm=needed_mm[zone.name] + grown_mm) for zone in layout.zones.zones]
    return find_unseen(
        setting.part,
        setting.scan,
        needs,
        setting.rock,
        stations=stations_of(job),
        file_of=setting.scan.file_of,
        ends=ends_of(job),
        motions=layout.motions,
        excused=lambda place: any(covers(face, place.centre, place.size_mm) for face in layout.faces),
    )
