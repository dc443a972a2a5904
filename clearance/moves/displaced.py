"""Where everything stands after a move: part, zones, rock, joints, each by a rigid motion of the bay's frame.

The engine takes along the part and the zones that ride on it, its mounts (so that its rock turns about
the moved axis and lifts along the moved directions), and the inner joints of the links; a link's outer
joint stays, and the shaft points at it anew. Zones named beside it go along too. The transmission is the
zones that the user names: a zone on a link moves its inner joint, any other moves with its own swing and
stroke. The part alone moves against everything else.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearance.errors import InputError
from clearance.frames import Array, Pose, identity, rigid, rotation_about, turn_about, unit_vector
from clearance.job.moves import Move
from clearance.job.schema import Job
from clearance.layout.layout import Standing
from clearance.layout.placement import Placement
from clearance.scene.zone import Zone

STILL = identity("bay", "bay")


@dataclass(frozen=True, eq=False, kw_only=True)
class Displaced:
    """Motions from where things were found to where they were moved, bay to bay.

    Attributes
    ----------
    part, rock : Pose
        `rock`: of the engine's mounts.
    zones : by a zone's name; those on a link by what moved its inner joint
    links : by a link's name, of its inner joint
    """

    part: Pose = STILL
    rock: Pose = STILL
    zones: Mapping[str, Pose]
    links: Mapping[str, Pose]

    @property
    def carried(self) -> tuple[Pose, ...]:
        """The different motions that something other than the part was moved by, standing still among them."""
        found = [STILL]
        for pose in (self.rock, *self.zones.values()):
            if not any(np.allclose(pose.matrix, other.matrix, rtol=0, atol=1e-12) for other in found):
                found.append(pose)
        return tuple(found)


def at_rest(job: Job, standing: Standing) -> Displaced:
    """Return that nothing was moved."""
    zones = {zone.name: STILL for zone in standing.zones.zones}
    return Displaced(zones=zones, links={link.name: STILL for link in job.links})


def moved_by(
    moves: Sequence[Move], placed: Placement, standing: Standing
) -> tuple[Displaced, tuple[Array | None, ...]]:
    """Return where things stand after the moves, made one after the other, and each turn's centre, (3,) mm.

    Raises InputError where a move names a zone that is not there.
    """
    where, centres = at_rest(placed.job, standing), list[Array | None]()
    for move in moves:
        centre = centre_of(move, where, placed, standing) if move.turn is not None else None
        where = carry(where, motion_of(move, centre), move, placed.job, standing)
        centres.append(centre)
    return where, tuple(centres)


def motion_of(move: Move, centre: Array | None) -> Pose:
    """Return a move as a motion of the bay's frame: the turn about `centre`, then the shift."""
    turned = STILL
    if move.turn is not None and centre is not None:
        turned = turn_about("bay", "bay", centre, move.turn.axis, float(np.radians(move.turn.degrees)))
    return rigid("bay", "bay", np.eye(3), np.array(move.shift)) @ turned


def centre_of(move: Move, where: Displaced, placed: Placement, standing: Standing) -> Array:
    """Return the point, (3,) bay, mm, that a turn leaves where it is.

    What the move says; else for engine and transmission the stated point of the rock axis, for the part the
    anchor of its growth; without those the centroid of the part's surface; each where it stands by then.
    """
    if move.about is not None:
        return np.array(move.about, dtype=np.float64)
    if move.of != "part" and placed.job.rock is not None:
        return where.rock.apply(np.array(placed.job.rock.axis.point))
    setting = standing.setting
    if setting.growth is not None:
        return where.part.apply(setting.growth.anchor)
    return where.part.apply(setting.part.mesh.centroid)


def carry(where: Displaced, motion: Pose, move: Move, job: Job, standing: Standing) -> Displaced:
    """Return where things stand once `motion` has moved what `move` names. Raises InputError for an unknown zone."""
    zones = standing.zones.zones
    named = _named(move, zones, job)
    links = {link.name for link in job.links}
    engine = move.of == "engine"

    def joint_moves(link: str) -> bool:
        return engine or any(zone.rides == link and zone.name in named for zone in zones)

    def goes(zone: Zone) -> bool:
        if zone.rides in links:
            return joint_moves(zone.rides)
        return zone.name in named or (engine and zone.rides == "engine")

    part_goes = move.of == "part" or (engine and placed_on_engine(job))
    return Displaced(
        part=motion @ where.part if part_goes else where.part,
        rock=motion @ where.rock if engine else where.rock,
        zones={z.name: motion @ where.zones[z.name] if goes(z) else where.zones[z.name] for z in zones},
        links={name: motion @ pose if joint_moves(name) else pose for name, pose in where.links.items()},
    )


def placed_on_engine(job: Job) -> bool:
    """Tell whether the part rides on the engine."""
    return job.part.rides == "engine"


def _named(move: Move, zones: Sequence[Zone], job: Job) -> set[str]:
    """Return the names of the zones that a move names, by their own name or their table's."""
    known = {zone.name for zone in zones} | {zone.table for zone in zones}
    for name in move.zones:
        if name not in known:
            wanted = "name one of " + ", ".join(f"'{n}'" for n in sorted(known))
            raise InputError(job.file, f"no zone '{name}' to move", wanted, "--zones")
    return {zone.name for zone in zones if {zone.name, zone.table} & set(move.zones)}


def zone_pose(zone: Zone, where: Displaced, job: Job) -> Pose:
    """Return how a zone's body moved; one on a link also turns about its inner joint towards the outer one."""
    pose = where.zones[zone.name]
    link = next((link for link in job.links if link.name == zone.rides), None)
    if link is None:
        return pose
    inner, outer = np.array(link.engine), np.array(link.chassis)
    joint = pose.apply(inner)
    return least_turn(pose.rotation @ unit_vector(outer - inner), unit_vector(outer - joint), joint) @ pose


def least_turn(start: Array, end: Array, about: Array) -> Pose:
    """Return the least turn about a point that brings one unit vector onto another."""
    axis = np.cross(start, end)
    size = float(np.linalg.norm(axis))
    if size < 1e-15:
        return STILL
    rotation = rotation_about(axis, float(np.arctan2(size, start @ end)))
    return rigid("bay", "bay", rotation, about - rotation @ about)


def moved_zone(zone: Zone, pose: Pose) -> Zone:
    """Return the zone with all it holds mapped by `pose`."""

    def of(points: Array | None) -> Array | None:
        return None if points is None else pose.apply(points)

    return replace(
        zone,
        points=of(zone.points),
        raw_points=of(zone.raw_points),
        stray_points=pose.apply(zone.stray_points),
        beside=of(zone.beside),
        mesh=zone.mesh.moved(pose) if zone.mesh is not None else None,
        shown=zone.shown.moved(pose) if zone.shown is not None else None,
        fit=replace(zone.fit, from_=pose.apply(zone.fit.from_), to=pose.apply(zone.fit.to)) if zone.fit else None,
    )


Turned = Callable[[Sequence[float]], tuple[float, float, float]]


def moved_job(job: Job, where: Displaced, zones: Sequence[Zone]) -> Job:
    """Return the job with the motions that go along moved: rock, joints, and the swings and strokes of moved zones.

    Where a zone is looked for in the scan stays as written: the scan was taken before the move.
    """
    rock = job.rock
    if rock is not None:
        point, turned = where.rock.apply(np.array(rock.axis.point)), _turner(where.rock)
        axis = rock.axis.model_copy(update={"point": _tuple(point), "direction": turned(rock.axis.direction)})
        worked_out = {"roll": rock.roll_degrees, "mounts": (), "torque": None}  # the mounts come along
        rock = rock.model_copy(
            update={"axis": axis, "up": turned(rock.up), "forward": turned(rock.forward), **worked_out}
        )
    links = tuple(
        link.model_copy(update={"engine": _tuple(where.links[link.name].apply(np.array(link.engine)))})
        for link in job.links
    )
    named = {link.name for link in links}
    tables = []
    for table in job.zones:
        own = next((z for z in zones if z.table == table.name and z.rides == table.rides), None)
        pose = STILL if own is None or table.rides in named else where.zones[own.name]
        travel, stroke, turned = table.travel, table.stroke, _turner(pose)
        if travel is not None:
            about = _tuple(pose.apply(np.array(travel.about)))
            travel = travel.model_copy(update={"about": about, "axis": turned(travel.axis)})
        if stroke is not None:
            stroke = stroke.model_copy(update={"axis": turned(stroke.axis)})
        tables.append(table.model_copy(update={"travel": travel, "stroke": stroke}))
    return job.model_copy(update={"rock": rock, "links": links, "zones": tuple(tables)})


def _turner(pose: Pose) -> Turned:
    return lambda direction: _tuple(pose.rotation @ np.array(direction))


def _tuple(vector: Array) -> tuple[float, float, float]:
    return float(vector[0]), float(vector[1]), float(vector[2])
