"""What the page's 3D view draws: bodies thinned and packed, how each moves, worst spots, patches, unseen places."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from clearance.frames import Array, unit_vector
from clearance.motion.rock import Rock, rock_of
from clearance.motion.zone_motion import ZoneMotion
from clearance.outputs.added import Body
from clearance.outputs.colours import BANDS, SMALLEST_BAND_MM
from clearance.outputs.fields import part_field_of, zone_field_of
from clearance.outputs.figures import interval, pose_words
from clearance.outputs.moving import own_motion
from clearance.outputs.packing import near_order, pack_faces, pack_lengths, pack_points
from clearance.outputs.record import pose_degrees
from clearance.outputs.terminal import SIGNS, WORDS
from clearance.outputs.thinning import thinned, thinned_mesh
from clearance.scene.mesh import IntArray, Mesh
from clearance.units import degrees
from clearance.verdict.result import CheckResult, ZoneResult

PLACE_STEP_MM, CLEARANCE_STEP_MM = 0.01, 0.02
MOST_TRIANGLES, MOST_ZONE_TRIANGLES, MOST_POINTS = 200_000, 60_000, 300_000
CONTEXT_POINTS = 40_000
"""Scan points of no zone, at most: they only show where one is."""


def scene_data(result: CheckResult, bodies: Sequence[Body] = ()) -> dict[str, Any]:
    """Return the 3D view as plain data. Lengths mm, angles degrees, bay frame at the neutral pose."""
    placed = result.part.shown.moved(result.registration.T_bay_part)
    origin = placed.vertices.mean(axis=0)
    rock = rock_of(result.job.rock)
    return {
        "origin": _list(origin),
        "up": _list(unit_vector(rock.up) if rock is not None else np.array([0.0, 0.0, 1.0])),
        "bands": [[band.name, band.meaning, band.low, band.high] for band in BANDS],
        "band_mm": SMALLEST_BAND_MM,
        "rock": None if rock is None else _rock(rock),
        "growth": _growth(result),
        "part": _part(result, placed, origin),
        "zones": _zones(result, origin),
        "bodies": [_extra(body, origin) for body in bodies],
        "context": _context(result, origin),
        "unseen": [{"centre": _list(u.centre), "size": u.size_mm} for u in result.unseen],
    }


def _part(result: CheckResult, placed: Mesh, origin: Array) -> dict[str, Any]:
    mesh, old = thinned_mesh(placed, MOST_TRIANGLES)
    patches = [_outline(placed, fix.faces) for fix in result.fixes]
    lines = np.concatenate([np.zeros((0, 3)), *patches])
    return {
        "rides": result.part.rides,
        "closed": result.part.closed,
        "points": pack_points(mesh.vertices, origin, PLACE_STEP_MM),
        "faces": pack_faces(mesh.faces),
        "values": [pack_lengths(part_field_of(z).clearance_mm[0][old], CLEARANCE_STEP_MM) for z in result.zones],
        "patches": pack_points(lines, origin, PLACE_STEP_MM),
    }


def _outline(mesh: Mesh, faces: IntArray) -> Array:
    """Return the edges, (2 k, 3), that only one of the faces has."""
    edges = mesh.faces[faces][:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    _, first, count = np.unique(np.sort(edges, axis=1), axis=0, return_index=True, return_counts=True)
    ends: Array = mesh.vertices[edges[first[count == 1]].ravel()]
    return ends


def _zones(result: CheckResult, origin: Array) -> list[dict[str, Any]]:
    counts = [0 if z.zone.points is None else len(z.zone.points) for z in result.zones]
    share = min(1.0, (MOST_POINTS - CONTEXT_POINTS) / max(sum(counts), 1))
    meshes = max(1, sum(z.zone.shown is not None for z in result.zones))
    return [
        _zone(result, zone, origin, max(int(share * count), 1), MOST_ZONE_TRIANGLES // meshes)
        for zone, count in zip(result.zones, counts, strict=True)
    ]


def _zone(
    result: CheckResult, zone: ZoneResult, origin: Array, most_points: int, most_triangles: int
) -> dict[str, Any]:
    return {
        "name": zone.zone.name,
        "gap": zone.zone.gap_mm,
        "closed": zone.zone.closed,
        "verdict": f"{WORDS[zone.verdict]} {SIGNS[zone.verdict]}",
        "proven": interval(zone.sweep.clearance),
        "pose": pose_words(zone.sweep.worst),
        "worst": {**pose_degrees(zone.sweep.worst), "growth": zone.factor},
        "on_part": _list(zone.sweep.on_part),
        "on_zone": _list(zone.sweep.on_zone),
        "direction": _list(zone.sweep.direction),
        "cap": zone.part_field.cap_mm,
        "moves": _moves(own_motion(result, zone)),
        **_body(zone, origin, most_points, most_triangles),
    }


def _body(zone: ZoneResult, origin: Array, most_points: int, most_triangles: int) -> dict[str, Any]:
    """Pack a zone's surface or points; points that decide colours are the last to be thinned."""
    value = zone_field_of(zone).clearance_mm[0]
    if zone.zone.shown is not None:
        mesh, old = thinned_mesh(zone.zone.shown, most_triangles)
        places, faces = mesh.vertices, pack_faces(mesh.faces)
    else:
        points = zone.zone.points
        assert points is not None
        old = thinned(points, most_points, value < zone.zone_field.cap_mm)
        old = old[near_order(points[old])]
        places, faces = points[old], None
    packed = pack_points(places, origin, PLACE_STEP_MM)
    return {"points": packed, "faces": faces, "values": pack_lengths(value[old], CLEARANCE_STEP_MM)}


def _extra(body: Body, origin: Array) -> dict[str, Any]:
    mesh, _ = thinned_mesh(body.mesh, MOST_ZONE_TRIANGLES)
    packed = pack_points(mesh.vertices, origin, PLACE_STEP_MM)
    return {"name": body.name, "note": body.note, "points": packed, "faces": pack_faces(mesh.faces)}


def _context(result: CheckResult, origin: Array) -> dict[str, Any]:
    """Pack scan points of no zone."""
    if result.scan is None:
        return pack_points(np.zeros((0, 3)), origin, PLACE_STEP_MM)
    scan = np.ascontiguousarray(result.scan.points)
    row = np.dtype((np.void, 24))
    claimed = [np.ascontiguousarray(z.zone.points).view(row) for z in result.zones if z.zone.points is not None]
    free = scan
    if claimed:
        free = scan[~np.isin(scan.view(row).ravel(), np.concatenate(claimed).ravel())]
    free = free[thinned(free, CONTEXT_POINTS)]
    return pack_points(free[near_order(free)], origin, PLACE_STEP_MM)


def _rock(rock: Rock) -> dict[str, Any]:
    return {
        "point": _list(rock.point), "direction": _list(rock.direction), "up": _list(rock.up),
        "forward": _list(rock.forward), "roll": _degrees(rock.roll_rad), "lift": rock.lift_mm, "shift": rock.shift_mm,
    }  # fmt: skip


def _moves(motion: ZoneMotion) -> dict[str, Any]:
    travel, stroke, link = motion.travel, motion.stroke, motion.link
    return {
        "rides": motion.rides,
        "travel": travel
        and {"point": _list(travel.point), "axis": _list(travel.direction), "range": _degrees(travel.range_rad)},
        "stroke": stroke and {"axis": _list(stroke.direction), "range": stroke.range_mm},
        "link": link and {"engine": _list(link.engine), "chassis": _list(link.chassis)},
    }


def _growth(result: CheckResult) -> dict[str, Any] | None:
    if result.growth is None:
        return None
    return {"anchor": _list(result.growth.anchor), "range": [result.growth.k_cold, result.growth.k_hot]}


def _degrees(ends: tuple[float, float]) -> list[float]:
    return [degrees(end) for end in ends]


def _list(vector: Array) -> list[float]:
    return [float(x) for x in vector]
