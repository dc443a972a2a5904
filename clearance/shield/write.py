"""Write a shield study, whole or not at all."""

from __future__ import annotations

import re
from pathlib import Path

from clearance.job.write import job_text
from clearance.outputs import folder as whole
from clearance.outputs.stems import stems
from clearance.shield.drawing import write_drawing
from clearance.shield.maps import temperature_ply
from clearance.shield.page import page
from clearance.shield.record import FORMAT, record
from clearance.shield.result import ShieldResult
from clearance.shield.show import write_blank, write_room

STUDY = whole.Ours(
    names=re.compile(
        r"shield\.(json|html)|job\.toml|temperature_.*\.ply|shield_(room|blank|pattern)\.(ply|stl|png|svg|dxf)"
    ),
    record="shield.json",
    form=FORMAT,
)


def check_folder(folder: Path) -> None:
    """Refuse a folder that holds anything but an earlier study, or that cannot be made. Raises InputError."""
    whole.check_folder(folder, STUDY)


def write_shield(result: ShieldResult, folder: Path) -> None:
    """Write shield.html, shield.json, maps of temperatures, room, blank and pattern, and the effective job.

    An earlier study there stays until the new one is complete and is then replaced.

    Raises
    ------
    InputError
        If the folder holds other files or cannot be written (full disk, no permission).
    """
    whole.write_folder(folder, STUDY, lambda building: _fill(result, building, folder.resolve()))


def _fill(result: ShieldResult, building: Path, place: Path) -> None:
    (building / "job.toml").write_text(job_text(result.job, place), encoding="utf-8")
    names = stems(zone.name for zone in result.zones)
    for zone in result.zones:
        (building / f"temperature_{names[zone.name]}.ply").write_bytes(temperature_ply(zone))
    pictures = list[Path]()
    if (shield := result.fitted) is not None:
        pictures.append(write_room(shield.room, shield.need_faces, shield.build_mm, building, shield.up)[1])
        if shield.pattern is not None:
            pictures.append(write_blank(shield.blank, result.layout, shield.need_faces, building, shield.up)[1])
            pictures.append(write_drawing(shield.pattern, building)[0])
    (building / "shield.html").write_text(page(result, pictures), encoding="utf-8")
    whole.write_json(building / STUDY.record, record(result))
