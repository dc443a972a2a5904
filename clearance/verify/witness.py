"""Is the upper bound real? At the worst pose its two witness points must lie on the bodies, that far apart."""

from __future__ import annotations

import numpy as np

from clearance.frames import Array
from clearance.scene.mesh import Mesh
from clearance.verify.claims import SweepClaim, WorstPose
from clearance.verify.moves import Moves
from clearance.verify.paths import Path
from clearance.verify.target import Target

SAME_MM = 1e-6
"""A nanometre: what two float64 computations over a bay may differ by."""


def witness_faults(
    target: Target,
    moves: Moves,
    zone: Array | Mesh,
    claim: SweepClaim,
    towards: Array | None,
    facet_mm: float,
    origin: Array,
) -> list[str]:
    """Return what is wrong with the witness of an upper bound.

    `zone`: points or mesh, counted from `origin`. `towards` (3,): where the row says that the part must go.
    """
    placed = _pose(moves.joint, claim.worst_pose)
    if isinstance(placed, str):
        return [placed]
    angles, slides = placed
    on_part, on_zone = np.array(claim.on_part_mm) - origin, np.array(claim.on_zone_mm) - origin
    faults = []
    if (off := float(target.distance(on_part[None], claim.factor)[0])) > SAME_MM:
        faults.append(f"its witness point on the part lies {off:.3g} mm off the part")
    body = Target(zone) if isinstance(zone, Mesh) else None
    away = body.distance(on_zone[None]) if body else np.linalg.norm(np.asarray(zone) - on_zone, axis=1)
    if (off := float(away.min())) > SAME_MM:
        faults.append(f"its witness point on the zone lies {off:.3g} mm off the zone")
    seen = moves.states.seen(on_zone[None, None], angles, slides)[0, 0]
    apart = on_part - seen
    length, upper = float(np.linalg.norm(apart)), claim.clearance_mm.upper - facet_mm
    if abs(length - abs(upper)) > SAME_MM:
        faults.append(f"its witness points are {length:.6f} mm apart at the worst pose, the report says {upper:.6f} mm")
    elif upper < -SAME_MM and not _is_inside(target, moves, claim.factor, zone, seen, on_part, angles, slides):
        faults.append("its witness points are no interference: neither lies inside the other body")
    if towards is None or length <= 1e-3:
        return faults
    if float(apart @ towards) * (1 if upper > 0 else -1) < length * (1 - 1e-6):
        faults.append("its direction is not the one between its witness points")
    return faults


def _pose(path: Path, pose: WorstPose) -> tuple[Array, Array] | str:
    """Return angles (1, 2) and slides (1, k) of a pose, or what is wrong with it."""
    angles = np.radians([[pose.roll_deg or 0.0, pose.travel_deg or 0.0]])
    rocking = [pose.lift_mm, pose.shift_mm] if path.rock is not None else []
    values = ([pose.stroke_mm] if path.strokes else []) + rocking
    slides = np.array([[value or 0.0 for value in values]]).reshape(1, -1)
    beyond = max(
        float(np.maximum(path.angle_low - angles, angles - path.angle_high).max()),
        float(np.maximum(path.slide_low - slides, slides - path.slide_high).max(initial=0.0)),
    )
    return (angles, slides) if beyond <= SAME_MM else "its worst pose lies outside the job's motion"


def _is_inside(
    target: Target,
    moves: Moves,
    factor: float,
    zone: Array | Mesh,
    seen: Array,
    on_part: Array,
    angles: Array,
    slides: Array,
) -> bool:
    if target.inside(target.shrunk(seen[None], factor))[0]:
        return True
    if not isinstance(zone, Mesh):
        return False
    every = (np.repeat(x, len(zone.vertices), axis=0) for x in (angles, slides))
    moved = moves.states.seen(zone.vertices[:, None], *every)
    return bool(Target(Mesh(moved[:, 0], zone.faces)).inside(on_part[None])[0])
