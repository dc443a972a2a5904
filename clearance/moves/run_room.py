"""`clearance room` from job file to folder."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from clearance.errors import InputError
from clearance.job.values import Vector
from clearance.layout.placement import Progress
from clearance.moves.move_command import WHERE, moves_from
from clearance.moves.room import Range, Room, room
from clearance.moves.room_text import FORMAT, SCALE, room_lines, room_record
from clearance.moves.slices import write_slices
from clearance.moves.solve import How
from clearance.moves.space import NAMES
from clearance.outputs.folder import Ours, check_folder, write_folder, write_json

CELLS = "cells.npz"
ROOM = Ours(
    names=re.compile(r"room\.(json|txt)|cells\.npz|slice_.*\.png"),
    record="room.json",
    form=FORMAT,
)
Pair = tuple[float, float]


def asked_for(
    ranges: dict[str, Pair | None],
    of: str,
    zones: str | None,
    about: Vector | None,
    step: Pair,
    weight: float,
    most: int,
) -> Range:
    """Return the range of moves of a command line. Raises InputError."""
    still = moves_from(None, (0.0, 0.0, 0.0), None, None, of, zones)[0]
    if not all(np.isfinite([*step, weight])) or min(*step, weight) <= 0 or most < 1:
        raise InputError(WHERE, "a step, weight or limit that is not above 0", "write numbers above 0", "--step")
    low, high = np.array([ranges[name] or (0.0, 0.0) for name in NAMES], dtype=np.float64).T
    if not np.isfinite([low, high]).all():
        raise InputError(WHERE, "a range without end", "write finite numbers", "the range of moves")
    return Range(
        of=still.model_copy(update={"about": about}),
        low=low,
        high=high,
        step_mm=step[0],
        step_deg=step[1],
        mm_per_deg=weight,
        most=most,
    )


def run_room(
    job: Path, asked: Range, how: How, folder: Path, progress: Progress = lambda step: None
) -> tuple[list[str], dict[str, Any], int]:
    """Study a range of moves and write the folder; return what to print, the record and the exit code.

    0: a move that keeps every gap is found and passes; 1: proven that none of the range does; 3: undecided.
    """
    check_folder(folder, ROOM)
    kept = folder.with_name(folder.name + ".cells.sqlite")
    progress(f"finished cells are kept in {kept}; after an interrupt --resume goes on from there")
    found = room(job, asked, replace(how, keep=kept), progress)
    progress("writing the room")
    write_room(found, folder)
    passes = found.checked is not None and found.checked.verdict.value == "pass"
    code = 0 if passes else 1 if found.smallest.proven_none else 3
    return [*room_lines(found), f"files: {folder}; finished cells are kept in {kept}"], room_record(found), code


def write_room(found: Room, folder: Path) -> None:
    """Write room.json, room.txt, cells.npz and the slices. Raises InputError."""
    cells, space = found.cells, found.study.space

    def fill(building: Path) -> None:
        np.savez_compressed(
            building / CELLS,
            parameters=np.array(NAMES),
            low=space.edge(cells.low) * SCALE,
            high=space.edge(cells.high) * SCALE,
            ruling=cells.ruling,
            blocker=np.array([*(d.zone for d in found.study.demands), ""])[cells.blocker],
        )
        through = np.zeros(6) if found.smallest.move is None else found.smallest.move
        write_slices(cells, space, np.clip(through, space.low, space.high), found.smallest.move, building)
        (building / "room.txt").write_text("\n".join(room_lines(found)) + "\n", encoding="utf-8")
        write_json(building / ROOM.record, room_record(found))

    write_folder(folder, ROOM, fill)
