"""A socket or spanner on a nut: do its round bodies fit, and is there an arc free for its handle to swing in?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearance.access import sizes
from clearance.access.arcs import Arcs
from clearance.access.moving import STILL, Body, along, gravest_of, in_hand
from clearance.access.obstacle import Obstacle
from clearance.access.result import Access, Outcome, Spot
from clearance.frames import Array, turn_about, unit_vector
from clearance.job.access import Tool as ToolTable
from clearance.job.where import Rod, Where
from clearance.scene.mesh import IntArray, Mesh
from clearance.scene.primitives import BOX_FACES, solid_mesh

BORE_MM = 0.5
"""Scan points this near to the nut's corners, or nearer, are the nut and its stud."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Tool:
    """A tool in place, bay frame, mm.

    Attributes
    ----------
    fixed : what is round about the nut's axis: (name, mesh)
    handle : at angle 0, from the axis outward; None for a tool without
    at, axis : (3,) middle of the seat, unit vector out of it
    swing_rad : least free arc
    bore_mm : radius within which the nut and the stud are
    """

    fixed: tuple[tuple[str, Mesh], ...]
    handle: Mesh | None
    at: Array
    axis: Array
    swing_rad: float
    bore_mm: float

    def everywhere(self) -> tuple[Mesh, ...]:
        """Return meshes whose box holds the tool at every angle of its handle."""
        turned = () if self.handle is None else (self.handle,)
        quarters = tuple(
            mesh.moved(turn_about("bay", "bay", self.at, self.axis, np.pi / 2 * k)) for mesh in turned for k in range(4)
        )
        return (*(mesh for _, mesh in self.fixed), *quarters)


def tool_of(table: ToolTable) -> Tool:
    """Build a job's tool; sizes that it does not state are those of `sizes`."""
    flats = sizes.ACROSS_FLATS[table.thread] if table.thread else table.across_flats
    assert flats is not None
    build = _socket if table.kind == "socket" else _spanner
    return build(table, flats)


def _socket(table: ToolTable, flats: float) -> Tool:
    at, axis = np.array(table.at, dtype=np.float64), unit_vector(table.axis)
    length = table.length or sizes.SOCKET_LENGTH
    height, head = table.head_height or sizes.RATCHET_HEIGHT, table.head or sizes.RATCHET_HEAD
    reach = sizes.RATCHET_HANDLE if table.handle is None else table.handle
    width = table.handle_width or sizes.RATCHET_WIDTH
    fixed = (
        ("socket", _cylinder(at, axis, table.above_seat, length, table.diameter or sizes.socket_outside(flats))),
        ("ratchet head", _cylinder(at, axis, length, length + height, head)),
    )
    return Tool(
        fixed=fixed,
        handle=_bar(at, axis, (length, length + height), reach, width) if reach else None,
        at=at,
        axis=axis,
        swing_rad=float(np.radians(table.swing or sizes.SOCKET_SWING)),
        bore_mm=sizes.across_corners(flats) / 2 + BORE_MM,
    )


def _spanner(table: ToolTable, flats: float) -> Tool:
    at, axis = np.array(table.at, dtype=np.float64), unit_vector(table.axis)
    low = table.above_seat
    high = low + (table.length or sizes.spanner_thickness(flats))
    reach = table.handle or sizes.spanner_handle(flats)
    return Tool(
        fixed=(("spanner head", _cylinder(at, axis, low, high, table.diameter or sizes.spanner_head(flats))),),
        handle=_bar(at, axis, (low, high), reach, table.handle_width or flats),
        at=at,
        axis=axis,
        swing_rad=float(np.radians(table.swing or sizes.SPANNER_SWING)),
        bore_mm=sizes.across_corners(flats) / 2 + BORE_MM,
    )


def check_tool(name: str, tool: Tool, obstacles: Sequence[Obstacle]) -> Access:
    """Tell whether a tool fits on its nut and has its swing, everything standing still.

    The round bodies must keep clear of every obstacle. For the handle the circle is cut into sectors, each
    proven free by one certified sweep over all its angles, and halved where it is not; free sectors that join
    to an arc as long as the swing settle it. It is blocked if at angles so close together that no such arc
    lies between them something is proven to be in the handle's way.
    """
    clear = [o for o in (without_bore(o, tool) for o in obstacles) if o is not None]
    found = [(*along(Body(mesh=mesh), STILL, obstacle), what) for what, mesh in tool.fixed for obstacle in clear]
    outcome, spot = gravest_of([(o, s) for o, s, _ in found])
    if outcome is not Outcome.FREE:
        what = next(w for o, s, w in found if o is outcome and s is spot)
        return Access(name=name, kind="tool", outcome=outcome, reason=_in_the_way(what, outcome, spot), spot=spot)
    if tool.handle is None:
        return Access(name=name, kind="tool", outcome=outcome, reason=_fits(tool, spot), spot=spot)
    arcs = Arcs(tool.handle, tool.at, tool.axis, tool.swing_rad, clear)
    if arcs.longest_free >= tool.swing_rad - 1e-9:
        said = f"{_fits(tool, spot)}; its handle has a free arc of at least {np.degrees(arcs.longest_free):.0f} degrees"
        return Access(name=name, kind="tool", outcome=Outcome.FREE, reason=said, spot=spot)
    blocked = arcs.longest_not_blocked < tool.swing_rad
    outcome = Outcome.BLOCKED if blocked else Outcome.UNDECIDED
    spot = arcs.spot
    return Access(name=name, kind="tool", outcome=outcome, reason=_no_arc(tool, arcs, blocked, spot), spot=spot)


def without_bore(obstacle: Obstacle, tool: Tool) -> Obstacle | None:
    """Return an obstacle without the scan points of the nut and its stud; None if none are left."""
    if isinstance(obstacle.solid, Mesh):
        return obstacle
    away = obstacle.solid - tool.at
    height = away @ tool.axis
    beside = np.linalg.norm(away - np.outer(height, tool.axis), axis=1)
    points = obstacle.solid[(beside > tool.bore_mm) | (height < -tool.bore_mm)]
    return replace(obstacle, solid=points) if len(points) else None


def _cylinder(at: Array, axis: Array, low: float, high: float, diameter: float) -> Mesh:
    rod = Rod.model_validate(
        {"from": (at + low * axis).tolist(), "to": (at + high * axis).tolist(), "diameter": diameter}
    )
    return solid_mesh(Where.model_validate({"cylinder": rod, "solid": True}))[0]


def _bar(at: Array, axis: Array, heights: tuple[float, float], reach: float, width: float) -> Mesh:
    """Return a box from the axis outward."""
    out = unit_vector(np.cross(axis, np.eye(3)[int(np.argmin(np.abs(axis)))]))
    frame = np.stack([out, np.cross(axis, out), axis])
    low, high = np.array([0.0, -width / 2, heights[0]]), np.array([reach, width / 2, heights[1]])
    corner = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=np.float64)
    faces: IntArray = BOX_FACES
    return Mesh(at + (low + corner * (high - low)) @ frame, faces)


def _fits(tool: Tool, spot: Spot | None) -> str:
    names = [name for name, _ in tool.fixed]
    what = f"the {' and '.join(names)} {'fit' if len(names) > 1 else 'fits'}"
    return f"{what}; {in_hand(spot)}"


def _in_the_way(what: str, outcome: Outcome, spot: Spot | None) -> str:
    assert spot is not None
    least, needed = spot.clearance, f"{spot.needed_mm:.2f} mm"
    if outcome is Outcome.BLOCKED:
        how = (
            f"{-least.upper:.2f} mm into it"
            if least.upper < 0
            else f"within {least.upper:.2f} mm of it, {needed} is needed"
        )
        return f"the {what} does not fit past {spot.obstacle}: it would reach {how}"
    return (
        f"the {what} is not proven past {spot.obstacle}: between {least.lower:.2f} and {least.upper:.2f} mm, "
        f"{needed} would prove it"
    )


def _no_arc(tool: Tool, arcs: Arcs, blocked: bool, spot: Spot | None) -> str:
    wanted, at = np.degrees(tool.swing_rad), spot.obstacle if spot is not None else "what is round about"
    if blocked:
        most = np.degrees(arcs.longest_not_blocked)
        return f"the handle cannot swing by {wanted:.0f} degrees: no arc beyond {most:.1f} is free, {at} is in its way"
    free = f"the longest arc proven free for the handle is {np.degrees(arcs.longest_free):.0f} degrees"
    settled = "a shorter or cranked handle, or a closer scan, would settle it"
    return f"{free}, {wanted:.0f} are needed; what limits it: {at}; {settled}"
