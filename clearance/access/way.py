"""Slides and removal paths: the part goes leg by leg from its place, past everything that stands."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from clearance.access.moving import Body, Leg, along, gravest_of, in_hand
from clearance.access.obstacle import Obstacle
from clearance.access.result import Access, Outcome, Spot
from clearance.frames import Array, unit_vector
from clearance.job.access import Access as AccessTable
from clearance.job.access import Turning
from clearance.scene.mesh import Mesh


def legs_of(table: AccessTable, body: Body) -> tuple[Leg, ...]:
    """Return the legs of a job's slide or path, the body being in its place.

    A step turns, unless it says otherwise, about the middle of the body's box as it stands when the step begins.
    """
    if table.slide is not None:
        return (_leg(unit_vector(table.slide.along) * table.slide.length, None, body.mesh),)
    legs, mesh = list[Leg](), body.mesh
    for step in table.path:
        legs.append(_leg(np.array(step.shift, dtype=np.float64), step.turn, mesh))
        mesh = mesh.moved(legs[-1].pose(1.0))
    return tuple(legs)


def check_way(name: str, kind: str, body: Body, legs: Sequence[Leg], obstacles: Sequence[Obstacle]) -> Access:
    """Tell whether a body can go along legs, each beginning where the last one ended, past all obstacles.

    Parameters
    ----------
    kind : "slide" or "path"
    body : Body
        In its place, bay frame, mm.

    Returns
    -------
    Access
        Free only if proven for every pose of every leg.
    """
    found: list[tuple[Outcome, Spot | None]] = []
    for number, leg in enumerate(legs, 1):
        step = f"step {number}, " if len(legs) > 1 else ""
        for obstacle in obstacles:
            found.append(along(body, leg, obstacle, step))
            if found[-1][0] is Outcome.BLOCKED:
                return _told(name, kind, found[-1:])
        body = Body(mesh=body.mesh.moved(leg.pose(1.0)), closed=body.closed)
    return _told(name, kind, found)


def _told(name: str, kind: str, found: Sequence[tuple[Outcome, Spot | None]]) -> Access:
    outcome, spot = gravest_of(found)
    return Access(name=name, kind=kind, outcome=outcome, reason=_reason(kind, outcome, spot), spot=spot)


def _leg(shift: Array, turn: Turning | None, mesh: Mesh) -> Leg:
    if turn is None:
        return Leg(shift=shift, point=np.zeros(3), direction=np.array([0.0, 0.0, 1.0]), angle_rad=0.0)
    middle = (mesh.vertices.min(axis=0) + mesh.vertices.max(axis=0)) / 2
    return Leg(
        shift=shift,
        point=middle if turn.about is None else np.array(turn.about, dtype=np.float64),
        direction=unit_vector(turn.axis),
        angle_rad=float(np.radians(turn.degrees)),
    )


def _reason(kind: str, outcome: Outcome, spot: Spot | None) -> str:
    what = {"slide": "the part slides off", "path": "the part goes all the way"}[kind]
    if spot is None or outcome is Outcome.FREE:
        return f"{what}; {in_hand(spot)}"
    needed, least, where = f"{spot.needed_mm:.2f} mm", spot.clearance, f" ({spot.when})" if spot.when else ""
    if outcome is Outcome.BLOCKED:
        how = (
            f"meets it {-least.upper:.2f} mm deep"
            if least.upper < 0
            else f"comes within {least.upper:.2f} mm, {needed} is needed"
        )
        return f"{spot.obstacle} is in the way{where}: the part {how}"
    return (
        f"not proven past {spot.obstacle}{where}: between {least.lower:.2f} and {least.upper:.2f} mm is kept, "
        f"{needed} would prove it"
    )
