"""Write a shield study as the report of a check with a section on heat, whole or not at all."""

from __future__ import annotations

import re
from pathlib import Path

from markupsafe import Markup

from clearance.outputs import write as report
from clearance.outputs.added import Added, Body
from clearance.outputs.stems import stems
from clearance.shield.drawing import write_drawing
from clearance.shield.maps import temperature_ply
from clearance.shield.page import section
from clearance.shield.record import record
from clearance.shield.result import ShieldResult
from clearance.shield.show import write_blank, write_room
from clearance.shield.text import against_heat

NAMES = re.compile(r"temperature_.*\.ply|shield_(room|blank|pattern)\.(ply|stl|png|svg|dxf)")


def check_folder(folder: Path) -> None:
    """Refuse a folder that holds anything but an earlier report, or that cannot be made. Raises InputError."""
    report.check_folder(folder, NAMES)


def write_shield(result: ShieldResult, folder: Path) -> None:
    """Write the report of the check with what heat asks for in it, maps of temperatures, room, blank and pattern.

    An earlier report there stays until the new one is complete and is then replaced.

    Raises
    ------
    InputError
        If the folder holds other files or cannot be written (full disk, no permission).
    """
    added = Added(
        key="shield",
        tree=record(result),
        beside_verdict=tuple(against_heat(result)),
        bodies=_bodies(result),
        names=NAMES,
        fill=lambda building: _fill(result, building),
    )
    report.write_results(result.checked, folder, added)


def _bodies(result: ShieldResult) -> tuple[Body, ...]:
    shield = result.fitted
    if shield is None or not len(shield.blank.solid.faces):
        return ()
    note = "clears every zone" if shield.blank.fits else "not proven to clear every zone"
    return (Body(name="shield blank", note=note, mesh=shield.blank.solid),)


def _fill(result: ShieldResult, building: Path) -> Markup:
    names = stems(zone.name for zone in result.zones)
    for zone in result.zones:
        (building / f"temperature_{names[zone.name]}.ply").write_bytes(temperature_ply(zone))
    pictures = list[Path]()
    if (shield := result.fitted) is not None:
        pictures.append(write_room(shield.room, shield.need_faces, shield.build_mm, building, shield.up)[1])
        if shield.pattern is not None:
            pictures.append(write_blank(shield.blank, result.layout, shield.need_faces, building, shield.up)[1])
            pictures.append(write_drawing(shield.pattern, building)[0])
    return section(result, pictures)
