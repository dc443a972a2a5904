"""The options of `clearance move`, turned into moves."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from clearance.errors import InputError
from clearance.job.moves import Move, MoveTurn, read_moves
from clearance.job.values import Vector

AXES = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}
WHERE = "the command line"


def moves_from(
    file: Path | None,
    shift: Vector | None,
    turn: tuple[str, float] | None,
    about: Vector | None,
    of: str,
    zones: str | None,
) -> tuple[Move, ...]:
    """Return the moves of a file, or the one of the command line. Raises InputError where they make none."""
    if file is not None:
        if shift or turn or about or zones:
            raise InputError(WHERE, "a file of moves beside a move", "give --moves alone, or --shift and --turn")
        return read_moves(file)
    if shift is None and turn is None:
        raise InputError(WHERE, "no move", "give --shift X Y Z, --turn AXIS DEG, or --moves FILE")
    named = tuple(name.strip() for name in (zones or "").split(",") if name.strip())
    if of not in ("engine", "transmission", "part"):
        raise InputError(WHERE, f"'{of}' cannot be moved", "write engine, transmission or part", "--of")
    tree: dict[str, Any] = {"of": of, "zones": named, "shift": tuple(shift or (0.0, 0.0, 0.0)), "about": about}
    if turn is not None:
        tree["turn"] = MoveTurn(axis=direction(turn[0]), degrees=turn[1])
    try:
        return (Move.model_validate(tree),)
    except ValueError as fault:
        found = str(fault).split("Value error, ")[-1].split(" [type=")[0]
        head, _, wanted = found.partition("; ")
        raise InputError(WHERE, head, wanted or "give finite numbers") from fault


def direction(text: str) -> Vector:
    """Return an axis given as x, y, z or three numbers with commas. Raises InputError."""
    sign = -1.0 if text.startswith("-") and text[1:] in AXES else 1.0
    if text.lstrip("-") in AXES:
        x, y, z = AXES[text.lstrip("-")]
        return sign * x, sign * y, sign * z
    try:
        x, y, z = (float(number) for number in text.split(","))
    except ValueError as fault:
        raise InputError(WHERE, f"'{text}' is no axis", "write x, y, z or three numbers: 0,0,1", "--turn") from fault
    if not 1e-9 < (x * x + y * y + z * z) ** 0.5 < 1e10:
        raise InputError(WHERE, f"'{text}' has no direction", "write three numbers that are not all zero", "--turn")
    return x, y, z
