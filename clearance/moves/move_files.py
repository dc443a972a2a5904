"""The folder that `clearance move` writes: the numbers, and for each case a mesh and a picture of the difference."""

from __future__ import annotations

import re
from pathlib import Path

from clearance.moves.difference import difference_picture, difference_ply
from clearance.moves.move_text import FORMAT, move_lines, move_record
from clearance.moves.what_if import WhatIf
from clearance.outputs.folder import Ours, write_folder, write_json
from clearance.outputs.stems import stems

MOVES = Ours(
    names=re.compile(r"move\.(json|txt)|difference_.*\.(ply|png)"),
    record="move.json",
    form=FORMAT,
)


def write_moves(found: WhatIf, folder: Path) -> None:
    """Write move.json, move.txt and, for each case, difference_<case>.ply and .png. Raises InputError."""

    def fill(building: Path) -> None:
        (building / "move.txt").write_text("\n".join(move_lines(found)) + "\n", encoding="utf-8")
        names = stems(case.name for case in found.cases)
        for case in found.cases:
            stem = building / f"difference_{names[case.name]}"
            stem.with_suffix(".ply").write_bytes(difference_ply(found.before, case))
            difference_picture(found.before, case, stem.with_suffix(".png"))
        write_json(building / MOVES.record, move_record(found))

    write_folder(folder, MOVES, fill)
