"""What a study of moves says: lines for a terminal, plain data for a program."""

from __future__ import annotations

import shlex
from textwrap import wrap
from typing import Any

import numpy as np

from clearance.frames import Array
from clearance.job.moves import Move
from clearance.moves.move_text import CAUTION, WIDE
from clearance.moves.room import Room, as_move
from clearance.moves.search import Ruling
from clearance.moves.space import NAMES
from clearance.outputs.terminal import WORDS
from clearance.verdict.result import Verdict

FORMAT = "clearance-room/1"
SCALE = np.array([1.0, 1, 1, *np.degrees([1.0, 1, 1])])

NOT_IN_IT = (
    "The cells tell of clearances alone, each with gap and guard: a free cell or box is not yet clear. Unseen places, "
    "stray points and points of no zone are looked at only in the moves judged by the whole chain: judge any other "
    "with `clearance move` before building to it."
)


def room_lines(found: Room) -> list[str]:
    """Return the lines of a study: the range, what is free, what blocks, the smallest move, the box, cautions."""
    space = found.study.space
    lines = [f"{found.title}: room of the {found.asked.of.of}", _range(found), ""]
    lines += [
        f"keeps every gap (proven): {100 * found.share(Ruling.FREE):.1f} % of the moves",
        f"does not (proven):        {100 * found.share(Ruling.BLOCKED):.1f} %",
        f"undecided:                {100 * found.share(Ruling.UNDECIDED):.1f} %",
        f"{space.poses} poses at this resolution, in {len(found.cells.low)} cells, each ruled on as a whole; "
        f"distances asked {found.cells.evaluations}",
    ]
    if found.given_up:
        lines.append(
            f"gave up where a part of the range had spent its share of {found.asked.most} distances (--most): "
            f"{100 * found.given_up:.1f} % of the moves were left in cells coarser than the resolution; "
            "try a larger --most or a coarser --step"
        )
    if found.taken:
        lines.append(f"boxes of cells taken from an earlier run: {found.taken}")
    lines += [f"blocked first by {name}: {100 * share:.1f} %" for name, share in blockers(found)]
    lines += ["", _today(found), *_smallest(found), *_box(found), "", *wrap(NOT_IN_IT, WIDE), *wrap(CAUTION, WIDE)]
    return lines


def _range(found: Room) -> str:
    space = found.study.space
    parts = [f"{NAMES[i]} {_span(space.low, space.high, int(i))}" for i in space.varied]
    turns = any(i >= 3 for i in space.varied)
    where = " about [" + ", ".join(f"{x:g}" for x in np.round(space.about, 3)) + "]" if turns else ""
    steps = (space.high - space.low) / space.counts * SCALE
    fine = ", ".join(f"{NAMES[i]} {steps[i]:.3g}" for i in space.varied)
    return f"range: {', '.join(parts)}{where}; resolution {fine} (mm, degrees)"


def _span(low: Array, high: Array, i: int) -> str:
    return f"{low[i] * SCALE[i]:g} to {high[i] * SCALE[i]:g} {'mm' if i < 3 else 'deg'}"


def blockers(found: Room) -> list[tuple[str, float]]:
    """Return the share of the range that each zone is the first found to block, largest first."""
    shares: dict[str, float] = {}
    blocked = found.cells.ruling == Ruling.BLOCKED
    poses = found.cells.poses
    for index in np.unique(found.cells.blocker[blocked]):
        name = found.study.demands[int(index)].zone
        own = float(poses[blocked & (found.cells.blocker == index)].sum())
        shares[name] = shares.get(name, 0.0) + own / found.study.space.poses
    return sorted(shares.items(), key=lambda one: -one[1])


def _today(found: Room) -> str:
    if found.today is None:
        return "as it stands: not in the range"
    said = {
        Ruling.FREE: "keeps every gap",
        Ruling.BLOCKED: "does not keep every gap",
        Ruling.UNDECIDED: "undecided",
    }
    return f"as it stands: {said[found.today]}"


def _smallest(found: Room) -> list[str]:
    small, weight = found.smallest, found.asked.mm_per_deg
    if small.proven_none:
        return ["no move of the range keeps every gap: proven for every cell of it"]
    if small.move is None:
        return [
            "no move was found that keeps every gap, and none of the range smaller than "
            f"{small.at_least_mm:.2f} mm does; the undecided cells may hold one: give a finer --step or a wider range"
        ]
    if not small.move.any():
        return []
    lines = [
        f"smallest move that keeps every gap: {move_words(small.move)}, {small.size_mm:.2f} mm in all "
        f"(1 degree counts as {weight:g} mm)",
        f"proven: no move below {small.at_least_mm:.2f} mm does",
        f"apply it: {command(found)}",
    ]
    if found.checked is not None:
        lines.append(f"judged there by the whole chain: {WORDS[found.checked.verdict]}: {found.checked.reason}")
    return lines


def move_words(move: Array) -> str:
    """Return a move (6,), mm and rad, in words."""
    told = [f"{NAMES[i]} {move[i] * SCALE[i]:+.3f} {'mm' if i < 3 else 'deg'}" for i in range(6) if move[i]]
    return ", ".join(told) or "none"


def command(found: Room) -> str:
    """Return the command line that applies the smallest move."""
    assert found.smallest.move is not None
    move: Move = as_move(found.asked.of, found.smallest.move, found.study.space)
    words = ["clearance", "move", str(found.job), "--of", move.of]
    if move.zones:
        words += ["--zones", ",".join(move.zones)]
    words += ["--shift", *(f"{x + 0.0:.9g}" for x in move.shift)]
    if move.turn is not None and move.about is not None:
        axis = ",".join(f"{x + 0.0:.12g}" for x in move.turn.axis)
        words += ["--turn", axis, f"{move.turn.degrees:.9g}", "--about", *(f"{x:.9g}" for x in move.about)]
    return shlex.join(words)


def _box(found: Room) -> list[str]:
    box, space = found.box, found.study.space
    if box is None:
        return []
    spans = ", ".join(f"{NAMES[i]} {_span(box.low, box.high, int(i))}" for i in space.varied)
    which = "largest box of free moves about it" if box.largest else "a box of free moves about it (may not be largest)"
    lines = [f"{which}: {spans}"]
    if (judged := found.box_checked) is not None:
        lines.append(f"its middle, judged by the whole chain: {WORDS[judged.verdict]}: {judged.reason}")
        if judged.verdict is not Verdict.PASS:
            lines.append("so the box is free of clearances that are short, but not clear: do not build to it")
    return lines


def room_record(found: Room) -> dict[str, Any]:
    """Return a study as plain data: mm and degrees."""
    space, small = found.study.space, found.smallest
    needs: dict[str, float] = {}
    for demand in found.study.demands:
        needs[demand.zone] = max(needs.get(demand.zone, 0.0), demand.need_mm)
    return {
        "format": FORMAT,
        "job": found.job.name,
        "of": found.asked.of.of,
        "zones_that_go_along": list(found.asked.of.zones),
        "parameters": list(NAMES),
        "low": (space.low * SCALE).tolist(),
        "high": (space.high * SCALE).tolist(),
        "cells_a_side": [int(n) for n in space.counts],
        "about_mm": space.about.tolist(),
        "mm_per_degree": found.asked.mm_per_deg,
        "poses": space.poses,
        "cells": len(found.cells.low),
        "share_given_up": found.given_up,
        "share": {ruling.name.lower(): found.share(ruling) for ruling in Ruling},
        "largest_need_mm": needs,
        "blocked_by": dict(blockers(found)),
        "today": None if found.today is None else found.today.name.lower(),
        "smallest": {
            "move": None if small.move is None else (small.move * SCALE).tolist(),
            "size_mm": None if small.move is None else small.size_mm,
            "none_below_mm": small.at_least_mm if np.isfinite(small.at_least_mm) else None,
            "proven_none_in_range": small.proven_none,
            "command": None if small.move is None else command(found),
            "verdict_there": None if found.checked is None else found.checked.verdict.value,
            "reason_there": None if found.checked is None else found.checked.reason,
        },
        "box": None
        if found.box is None
        else {
            "low": (found.box.low * SCALE).tolist(),
            "high": (found.box.high * SCALE).tolist(),
            "largest": found.box.largest,
            "verdict_at_middle": None if found.box_checked is None else found.box_checked.verdict.value,
            "reason_at_middle": None if found.box_checked is None else found.box_checked.reason,
        },
        "boxes_taken_from_before": found.taken,
        "distances_asked": found.cells.evaluations,
        "not_in_it": NOT_IN_IT,
        "caution": CAUTION,
    }
