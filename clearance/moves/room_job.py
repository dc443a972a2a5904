"""What a job demands of a move: for every zone the clearance it must keep, guard and spacing counted in.

A zone passes a check where, for each class of like spacing, clearance - widest spacing - k u >= gap (`verdict.
budget`). Of u what may differ from place to place is taken at its largest over what can come near, so that a
move that keeps a demand passes the zone, at its own worst spot too. `WIDTH_MM` covers the width of the bounds
that a check finds. Not in it, and looked at by `clearance move`: unseen places, stray points, points of no zone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from clearance.errors import InputError
from clearance.frames import Array
from clearance.heat.grown_sweep import swept_by_growth
from clearance.heat.growth import growth_spread_anywhere_mm
from clearance.job.moves import Move
from clearance.layout.layout import Layout, Standing, settle, stand
from clearance.layout.placement import Placement
from clearance.motion.pair import PairMotion
from clearance.motion.zone_motion import Link
from clearance.moves.demand import Demand, Solid, powers
from clearance.moves.displaced import at_rest, carry
from clearance.moves.evaluator import Evaluator
from clearance.moves.insides import speakers_of
from clearance.moves.link_evaluator import LinkDemand
from clearance.moves.space import MoveSpace
from clearance.scene.zone import Zone
from clearance.verdict.budget import CLASS_RATIO
from clearance.verdict.conformance import combined, guard_factor, rectangular
from clearance.verdict.setting import Setting

WIDTH_MM = 0.1
"""Bounds of a check are at most so wide: 0.02 mm of a zone, 0.05 mm of a class of spacing, 0.02 mm of growth."""

MERGED_MM = 0.4
"""Classes whose spacings differ by less are one here: as much more is asked for, at most, than by a check."""


def demanded(placed: Placement, found: Standing, of: Move, space: MoveSpace) -> tuple[Demand | LinkDemand, ...]:
    """Return what a job demands of the moves of what `of` names: for each zone and class of spacing a demand.

    `found` is the bay as it stands. Raises InputError for a shaft whose joint moves against the engine, and
    for a zone that the part is meant to touch and that the move takes from it.
    """
    standing = stand(placed, _farthest_mm(space, found.setting.part.mesh.vertices))
    layout = settle(placed, standing)
    goes = carry(at_rest(placed.job, standing), space.motion(_some_move()), of, placed.job, standing)
    demands = list[Demand | LinkDemand]()
    for zone in layout.zones.zones:
        motion = layout.motions[zone.name]
        part_goes, zone_goes = _moved(goes.part.matrix), _moved(goes.zones[zone.name].matrix)
        mask = layout.masks.get(zone.name)
        if part_goes != zone_goes and mask is not None and (mask.points or mask.area_mm2):
            told = f"the part is meant to touch '{zone.name}', and this move takes it away from there"
            raise InputError(placed.job.file, told, "move both, or leave part.contact out", "part.contact")
        link = next((link for link in placed.job.links if link.name == zone.rides), None)
        if link is not None:
            if of.of == "transmission" and _moved(goes.links[link.name].matrix):
                wanted = "use `clearance move`, which points the shaft anew"
                told = "room does not know a joint that moves against the engine"
                raise InputError(placed.job.file, told, wanted, f"zone '{zone.name}'")
            moved = {"engine": "engine", "part": "part", "transmission": "nothing"}[of.of]
            joints = Link(engine=np.array(link.engine), chassis=np.array(link.chassis))
            demands += _of_link(zone, motion, layout, joints, moved)
            continue
        demands += _of_zone(zone, motion, layout, of.of, part_goes, zone_goes, space)
    return tuple(demands)


def _of_zone(
    zone: Zone, motion: PairMotion, layout: Layout, of: str, part_goes: bool, zone_goes: bool, space: MoveSpace
) -> list[Demand]:
    setting = layout.setting
    rocks = motion.rock is not None and motion.turned is not None
    turned = "zone" if motion.turned == "zone" else "part"
    inner, outer = powers(rocks=rocks, turned=turned, of=of, part_goes=part_goes, zone_goes=zone_goes)
    part, growth = setting.part, setting.growth
    base = Demand(
        zone=zone.name,
        part=part.mesh if growth is None else swept_by_growth(part.mesh, growth),
        whole=part.mesh,
        closed=part.closed,
        solid=zone.mesh if zone.mesh is not None else _points(zone),
        zone_closed=zone.closed,
        rock=motion.rock if rocks else None,
        turned="zone" if turned == "zone" else "part",
        travel=motion.travel,
        stroke=motion.stroke,
        inner=inner,
        outer=outer,
        need_mm=zone.gap_mm + guard_mm(zone, setting, part.mesh.vertices) + WIDTH_MM,
    )
    if zone.mesh is not None:
        return [base]
    made, inside = list[Demand](), speakers_of(base)
    for points, widest in _classes(zone):
        demand = replace(base, solid=points, need_mm=base.need_mm + widest, speakers=inside)
        culled = Evaluator(demand, space).culled()
        if culled is not None or not made:
            made.append(culled or demand)
            inside = inside[:0]
    return made


def _of_link(zone: Zone, motion: PairMotion, layout: Layout, joints: Link, moved: str) -> list[LinkDemand]:
    """Return the demands of a shaft on a link; over growth with heat the part itself too: it may lie inside."""
    setting = layout.setting
    part, growth = setting.part, setting.growth
    need = zone.gap_mm + guard_mm(zone, setting, part.mesh.vertices) + WIDTH_MM
    bodies = [part.mesh] if growth is None else [swept_by_growth(part.mesh, growth), part.mesh]
    solids: list[tuple[Solid, float]] = [(zone.mesh, 0.0)] if zone.mesh is not None else [*_classes(zone)]
    return [
        LinkDemand(
            zone=zone.name,
            part=body,
            closed=part.closed,
            solid=solid,
            zone_closed=zone.closed,
            rock=motion.rock,
            travel=motion.travel,
            link=joints,
            moved="engine" if moved == "engine" else "part" if moved == "part" else "nothing",
            need_mm=need + widest,
        )
        for body in bodies
        for solid, widest in solids
    ]


def guard_mm(zone: Zone, setting: Setting, places: Array) -> float:
    """Return k u of a zone, mm, without spacing, as it is where (n, 3) `places` of the part are least sure."""
    scan, measured = setting.scan, zone.points is not None or zone.fit is not None
    noise = scan.noise_mm if scan is not None and zone.points is not None else 0.0
    accuracy = scan.accuracy_mm if scan is not None and measured else 0.0
    rest = combined([noise, accuracy, zone.fit_sigma_mm, rectangular(setting.part.tolerance_mm)])
    sigma = setting.registration.largest_sigma_mm(places)
    grows = growth_spread_anywhere_mm(places, setting.growth) if setting.growth is not None else np.zeros(len(places))
    return guard_factor(setting.confidence) * combined([float(np.hypot(sigma, grows).max()), rest])


def _points(zone: Zone) -> Array:
    assert zone.points is not None
    return zone.points


def _classes(zone: Zone) -> list[tuple[Array, float]]:
    """Return the zone's points in classes of like spacing, as `verdict.budget` has them, and the widest of each."""
    points = _points(zone)
    if zone.spacing_mm is None:
        return [(points, 0.0)]
    made, left = list[tuple[Array, float]](), np.ones(len(points), dtype=bool)
    while left.any():
        widest = float(zone.spacing_mm[left].max())
        group = left & (zone.spacing_mm > min(widest / CLASS_RATIO, widest - MERGED_MM))
        left &= ~group
        made.append((points[group], widest))
    return made


def _farthest_mm(space: MoveSpace, points: Array) -> float:
    """Return how far any move of the space carries a point, mm, at most."""
    most = np.maximum(np.abs(space.low), np.abs(space.high))
    arm = float(np.linalg.norm(points - space.about, axis=1).max())
    return float(np.linalg.norm(most[:3]) + np.linalg.norm(most[3:]) * arm)


def _some_move() -> Array:
    return np.array([1.0, 0, 0, 0, 0, 0])


def _moved(matrix: Array) -> bool:
    return not np.allclose(matrix, np.eye(4), rtol=0, atol=1e-9)
