"""The [[access]] tables of a job, each judged with the engine, the part and the surroundings at rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import numpy as np

from clearance.access.moving import Body
from clearance.access.obstacle import Obstacle
from clearance.access.result import Access, Outcome
from clearance.access.tool import check_tool, tool_of
from clearance.access.way import check_way, legs_of
from clearance.frames import Array
from clearance.job.access import Access as AccessTable
from clearance.job.schema import Job
from clearance.scene.zones import Zones
from clearance.verdict.conformance import guard_factor, rectangular
from clearance.verdict.obstacles import guard_over, obstacles_of, unclaimed_obstacles
from clearance.verdict.result import Verdict
from clearance.verdict.setting import Setting

COARSE_MM = 0.5
"""Scan points no farther apart than this count as one class."""

THE_PART = "the part"


def judge_access(job: Job, setting: Setting, zones: Zones) -> tuple[Access, ...]:
    """Return what comes of each access, in the job's order.

    Everything stands as it was scanned; the part is cold, without its faces in contact. A body that is a
    zone of kind access is room to be kept free, not a thing, and nothing can meet it.
    """
    found = []
    for table in job.access:
        if table.tool is not None:
            tool = tool_of(table.tool)
            corners = _box([mesh.vertices for mesh in tool.everywhere()])
            standing = [*_standing(table, setting, zones, corners), _the_part(table, setting)]
            found.append(check_tool(table.name, tool, standing))
            continue
        part = Body(mesh=setting.part.mesh, closed=setting.part.closed)
        legs = legs_of(table, part)
        places, moved = [part.mesh.vertices], part.mesh
        for leg in legs:
            moved = moved.moved(leg.pose(1.0))
            places.append(moved.vertices)
        found.append(check_way(table.name, table.kind, part, legs, _standing(table, setting, zones, _box(places))))
    if not setting.registration.converged:
        return tuple(_not_placed(access) for access in found)
    return tuple(found)


def with_access(verdict: Verdict, reason: str, access: Sequence[Access]) -> tuple[Verdict, str]:
    """Return a job's verdict and reason with its access: a blocked one fails it, an undecided one unsettles a pass."""
    blocked = [a for a in access if a.outcome is Outcome.BLOCKED]
    if blocked and verdict is not Verdict.FAIL:
        return Verdict.FAIL, f"access {blocked[0].name}: {blocked[0].reason}"
    doubtful = [a for a in access if a.outcome is Outcome.UNDECIDED]
    if doubtful and verdict is Verdict.PASS:
        return Verdict.UNDECIDED, f"access {doubtful[0].name}: {doubtful[0].reason}"
    return verdict, reason


def _standing(table: AccessTable, setting: Setting, zones: Zones, corners: Array) -> list[Obstacle]:
    """Return everything of the bay that stands, each with a guard that holds wherever the access goes."""
    found: list[Obstacle] = []
    things = [zone for zone in zones.zones if not (zone.kind == "access" and zone.mesh is not None)]
    for zone in things:
        found += obstacles_of(zone, setting, corners, table.required_gap, COARSE_MM)
    doubt = max((guard_over(zone, setting, corners) for zone in things), default=0.0)
    return [*found, *unclaimed_obstacles(zones, setting, corners, table.required_gap, doubt, COARSE_MM)]


def _the_part(table: AccessTable, setting: Setting) -> Obstacle:
    """Return the part as an obstacle to a tool, which sits on it: only its own tolerance is in doubt."""
    doubt = guard_factor(setting.confidence) * rectangular(setting.part.tolerance_mm)
    part = setting.part
    return Obstacle(name=THE_PART, solid=part.mesh, closed=part.closed, gap_mm=table.required_gap, doubt_mm=doubt)


def _box(places: Sequence[Array]) -> Array:
    low = np.min([p.min(axis=0) for p in places], axis=0)
    high = np.max([p.max(axis=0) for p in places], axis=0)
    return np.array(list(product(*np.stack([low, high]).T)), dtype=np.float64)


def _not_placed(access: Access) -> Access:
    reason = f"the part's place in the bay is not proven; as placed: {access.reason}"
    return replace(access, outcome=Outcome.UNDECIDED, reason=reason)
