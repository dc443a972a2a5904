"""A file of moves: [[move]] tables, read as strictly as a job."""

from __future__ import annotations

from pathlib import Path
from typing import Literal, Self

from pydantic import Field, ValidationError, model_validator

from clearance.errors import InputError
from clearance.job.faults import first_fault
from clearance.job.read import toml_tree
from clearance.job.values import Direction, Finite, Line, Point, Table

Of = Literal["engine", "transmission", "part"]


class MoveTurn(Table):
    """The turn of a move."""

    axis: Direction = Field(description="direction of the axis, bay frame, any length")
    degrees: Finite = Field(description="degrees, right-handed")


class Move(Table):
    """[[move]]: one rigid move; those that share a name are made one after the other."""

    name: Line | None = Field(None, description="name of the case; moves of one name are made one after the other")
    of: Of = Field("engine", description="what is moved: engine, transmission or part")
    zones: tuple[Line, ...] = Field((), description="zones that go along; of the transmission: all that is moved")
    turn: MoveTurn | None = Field(None, description="made first, about `about`")
    about: Point | None = Field(None, description="mm, bay frame, the point that the turn leaves where it is")
    shift: Point = Field((0.0, 0.0, 0.0), description="mm, bay frame, made after the turn")

    @model_validator(mode="after")
    def _has_subject(self) -> Self:
        if self.of == "transmission" and not self.zones:
            raise ValueError("nothing tells what the transmission is; name its zones: zones = [...]")
        if self.of == "part" and self.zones:
            raise ValueError("zones beside the part alone; leave zones out, or move the engine")
        if self.about is not None and self.turn is None:
            raise ValueError("about without turn; add turn = { axis = [..], degrees = .. }")
        return self


class Moves(Table):
    """A whole file of moves."""

    moves: tuple[Move, ...] = Field(alias="move", min_length=1, description="the moves, in the order they are made")


def read_moves(path: Path) -> tuple[Move, ...]:
    """Read a TOML file of [[move]] tables. Raises InputError for every fault."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as fault:
        raise InputError(path, "cannot be read as UTF-8 text", "give a TOML file with [[move]] tables") from fault
    tree = toml_tree(text, path)
    try:
        return Moves.model_validate(tree).moves
    except ValidationError as fault:
        raise first_fault(fault, tree, path, Moves) from fault
