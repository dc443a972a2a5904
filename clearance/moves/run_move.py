"""`clearance move` from job file to folder."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from clearance.job.moves import Move
from clearance.layout.placement import Progress
from clearance.moves.move_files import MOVES, write_moves
from clearance.moves.move_text import move_lines, move_record
from clearance.moves.what_if import what_if
from clearance.outputs.folder import check_folder


def run_move(
    job: Path, moves: Sequence[Move], folder: Path, progress: Progress = lambda step: None
) -> tuple[list[str], dict[str, Any]]:
    """Judge a job before and after moves and write the folder; return what to print, and the record."""
    check_folder(folder, MOVES)
    found = what_if(job, moves, progress)
    progress("writing the difference")
    write_moves(found, folder)
    return [*move_lines(found), f"files: {folder}"], move_record(found)
