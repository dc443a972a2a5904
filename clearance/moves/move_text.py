"""What a what-if says: lines for a terminal, plain data for a program."""

from __future__ import annotations

from textwrap import wrap
from typing import Any

import numpy as np

from clearance.frames import Array, Pose
from clearance.job.moves import Move
from clearance.moves.what_if import Case, Change, WhatIf, changes
from clearance.outputs.figures import at_least, interval
from clearance.outputs.terminal import WORDS
from clearance.verdict.result import ZoneResult

FORMAT = "clearance-move/1"

WIDE = 100
"""Columns of a sentence on the terminal."""

CAUTION = (
    "An aid, not an approval. Local codes, component makers' limits and a qualified person's judgement come first. "
    "Support the car and the engine properly before anything is moved; mounts, hoses, wiring, shafts and pipes that "
    "are no zone here were not looked at. Check on the car, cold and hot, before driving."
)


def move_lines(found: WhatIf) -> list[str]:
    """Return the lines of a what-if: for each case the moves, the table, what changed, the verdict."""
    lines = [f"{found.before.job.title}: {WORDS[found.before.verdict]} as it stands"]
    for case in found.cases:
        lines += ["", f"{case.name}: {'; then '.join(move_words(case))}"]
        lines += [f"  {line}" for line in _table(changes(found.before, case.after))]
        lines += [f"  {line}" for line in _news(changes(found.before, case.after))]
        lines.append(f"  {WORDS[case.after.verdict]}: {case.after.reason}")
    return [*lines, "", *wrap(CAUTION, WIDE)]


def move_words(case: Case) -> list[str]:
    """Return each move of a case in words, the turn's centre stated."""
    return [_words(move, centre) for move, centre in zip(case.moves, case.centres, strict=True)]


def _words(move: Move, centre: Array | None) -> str:
    what = {"engine": "the engine", "transmission": "the transmission", "part": "the part alone"}[move.of]
    if move.zones:
        listed = ", ".join(f"'{name}'" for name in move.zones)
        what += f" ({listed})" if move.of == "transmission" else f" with {listed}"
    said = []
    if move.turn is not None and centre is not None:
        said.append(f"turned {move.turn.degrees:+g} deg about {_numbers(move.turn.axis)} through {_numbers(centre)}")
    if any(move.shift) or not said:
        said.append(f"shifted {_numbers(move.shift)} mm")
    return f"{what} {' and '.join(said)}"


def _numbers(vector: Any) -> str:
    return "[" + ", ".join(f"{float(x) + 0.0:g}" for x in np.round(np.asarray(vector, np.float64), 3)) + "]"


def _table(rows: tuple[Change, ...]) -> list[str]:
    head = ("zone", "required", "before mm", "after mm", "change", "margin", "before", "after")
    cells = [head, *(_cells(row) for row in rows)]
    wide = [max(len(row[i]) for row in cells) for i in range(len(head))]
    left = (0, len(head) - 2, len(head) - 1)
    return ["  ".join(c.ljust(w) if i in left else c.rjust(w) for i, (c, w) in enumerate(zip(r, wide, strict=True)))
            .rstrip() for r in cells]  # fmt: skip


def _cells(row: Change) -> tuple[str, ...]:
    shown = row.after or row.before
    assert shown is not None
    return (
        row.name,
        f"{shown.zone.gap_mm:g}",
        _clearance(row.before),
        _clearance(row.after),
        "-" if row.before is None or row.after is None else f"{_change_mm(row.before, row.after):+.2f}",
        "-" if row.after is None else at_least(row.after.margin_mm),
        "-" if row.before is None else WORDS[row.before.verdict],
        "-" if row.after is None else WORDS[row.after.verdict],
    )


def _change_mm(before: ZoneResult, after: ZoneResult) -> float:
    return after.sweep.clearance.lower - before.sweep.clearance.lower


def _clearance(result: ZoneResult | None) -> str:
    return "-" if result is None else interval(result.sweep.clearance)


def _news(rows: tuple[Change, ...]) -> list[str]:
    lines = []
    for told, names in (
        ("newly interferes, or may", [r.name for r in rows if r.newly_interferes]),
        ("newly short of its gap", [r.name for r in rows if r.newly_short and not r.newly_interferes]),
        ("passed and is in doubt now", [r.name for r in rows if r.lost and not r.newly_short]),
        ("freed", [r.name for r in rows if r.freed]),
    ):
        if names:
            lines.append(f"{told}: {', '.join(names)}")
    return lines


def move_record(found: WhatIf) -> dict[str, Any]:
    """Return a what-if as plain data. Lengths mm, bay frame at the neutral pose."""
    return {
        "format": FORMAT,
        "job": found.before.job.file.name,
        "before": {"verdict": found.before.verdict.value, "reason": found.before.reason},
        "cases": [_case(found, case) for case in found.cases],
        "caution": CAUTION,
        "versions": dict(found.before.versions),
    }


def _case(found: WhatIf, case: Case) -> dict[str, Any]:
    rows = changes(found.before, case.after)
    return {
        "name": case.name,
        "moves": [
            {**move.model_dump(mode="json", exclude_none=True), **({} if c is None else {"about": c.tolist()})}
            for move, c in zip(case.moves, case.centres, strict=True)
        ],
        "part_moved_by": _matrix(case.where.part),
        "verdict": case.after.verdict.value,
        "reason": case.after.reason,
        "T_bay_part": _matrix(case.after.registration.T_bay_part),
        "zones": [_row(row) for row in rows],
        "newly_interferes": [row.name for row in rows if row.newly_interferes],
        "newly_short": [row.name for row in rows if row.newly_short],
        "freed": [row.name for row in rows if row.freed],
        "unseen": [{"zone": u.zone, "centre_mm": u.centre.tolist(), "advice": u.advice} for u in case.after.unseen],
    }


def _matrix(pose: Pose) -> list[list[float]]:
    rows: list[list[float]] = pose.matrix.tolist()
    return rows


def _row(row: Change) -> dict[str, Any]:
    return {"name": row.name, "before": _side(row.before), "after": _side(row.after)}


def _side(result: ZoneResult | None) -> dict[str, Any] | None:
    if result is None:
        return None
    bound = result.sweep.clearance
    return {
        "required_gap_mm": result.zone.gap_mm,
        "clearance_mm": {"lower": bound.lower, "upper": bound.upper},
        "margin_mm": result.margin_mm,
        "guard_mm": result.budget.guard,
        "verdict": result.verdict.value,
        "reason": result.reason,
    }
