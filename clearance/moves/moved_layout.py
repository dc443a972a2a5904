"""The bay laid out again after a move, so that the whole chain judges it like any other job.

The scan was taken before the move: zones are caught in it where their boxes stand, and their bodies are
moved then. What the scan missed may ride on whatever moved, so unseen places are looked for twice and more:
around the part where it stands now, and around the part as seen from each thing that was moved, in the
scan as it was taken. Scan points of no zone count where they were found and where each motion brings them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from clearance.frames import Array, Pose
from clearance.layout.layout import Layout, Standing, settle, stand
from clearance.layout.placement import Placement
from clearance.motion.rock import rock_of
from clearance.moves.displaced import Displaced, moved_job, moved_zone, zone_pose
from clearance.registration.result import Registration
from clearance.verdict.setting import Setting


def moved_layout(placed: Placement, standing: Standing, where: Displaced) -> tuple[Placement, Layout]:
    """Return job and layout after a move, ready for `pipeline.judge`.

    Parameters
    ----------
    placed, standing
        As found: before any move. `standing` must have been built for a part moved as far as `farthest_mm`.

    Raises InputError where what the part is meant to touch leaves nothing of a zone.
    """
    zones = standing.zones.zones
    job = moved_job(placed.job, where, zones)
    after = replace(placed, job=job, registration=moved_registration(placed.registration, where.part))
    views = tuple(
        settle(placed, replace(standing, setting=_seen_from(standing.setting, pose, where)))
        for pose in where.carried[1:]
    )
    bodies = tuple(moved_zone(zone, zone_pose(zone, where, placed.job)) for zone in zones)
    unclaimed = [pose.apply(standing.zones.unclaimed) for pose in where.carried]
    setting = replace(
        standing.setting,
        part=standing.setting.part.moved(where.part),
        registration=after.registration,
        rock=rock_of(job.rock),
        growth=standing.setting.growth.moved(where.part) if standing.setting.growth else None,
    )
    spacing = standing.zones.unclaimed_spacing_mm
    spacing = None if spacing is None else np.tile(spacing, len(unclaimed))
    moved = Standing(
        setting=setting,
        zones=replace(standing.zones, zones=bodies, unclaimed=np.vstack(unclaimed), unclaimed_spacing_mm=spacing),
        peeled=standing.peeled,
    )
    return after, settle(after, moved, views)


def _seen_from(setting: Setting, pose: Pose, where: Displaced) -> Setting:
    """Return the setting as seen from a thing that was moved by `pose`, in the scan as it was taken."""
    back = pose.inverse()
    rock = setting.rock
    if rock is not None:
        relative = back @ where.rock
        rock = replace(
            rock,
            point=relative.apply(rock.point),
            direction=relative.rotation @ rock.direction,
            up=relative.rotation @ rock.up,
            forward=relative.rotation @ rock.forward,
        )
    part = back @ where.part
    growth = setting.growth.moved(part) if setting.growth else None
    return replace(setting, part=setting.part.moved(part), rock=rock, growth=growth)


def moved_registration(registration: Registration, pose: Pose) -> Registration:
    """Return the registration of a part moved by `pose` (bay, bay), its error moved along.

    A small motion D of the part before the move is pose D pose^-1 after it: the covariance turns, its centre moves.
    """
    turn = np.kron(np.eye(2), pose.rotation)
    covariance: Array = turn @ registration.covariance @ turn.T
    return replace(
        registration,
        T_bay_part=pose @ registration.T_bay_part,
        covariance=covariance,
        centre=pose.apply(registration.centre),
        runner_up=pose @ registration.runner_up if registration.runner_up is not None else None,
    )


def farthest_mm(where: Displaced, part: Array) -> float:
    """Return how far any of (n, 3) points of the part, bay, mm, moved as seen from anything, at most."""
    seen = [(pose.inverse() @ where.part).apply(part) - part for pose in where.carried]
    return float(max(np.linalg.norm(moved, axis=1).max() for moved in seen))


def stand_for(placed: Placement, standing: Standing, where: Displaced) -> Standing:
    """Return what stands in the bay, its scan brought onto its surface as far as a move brings the part."""
    reach = farthest_mm(where, standing.setting.part.mesh.vertices)
    return stand(placed, reach) if reach > 0 else standing
