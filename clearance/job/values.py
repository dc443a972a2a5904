"""The kinds of value a job file may hold, and what a table of it is."""

from __future__ import annotations

import unicodedata
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from clearance.units import UNITS

Vector = tuple[float, float, float]
Unit = Literal["mm", "cm", "m", "in"]
Carrier = Literal["chassis", "engine"]
Made = Literal["printed metal", "welded tube", "cast"]
Kind = Literal["chassis", "axle", "actuator", "line", "access"]
LARGEST = 1e10
"""Largest number of a job. In mm 10 000 km: float64 still tells 2 nm apart there, and no sum of squares overflows."""


def _sensible(value: float) -> float:
    if abs(value) > LARGEST:
        raise ValueError(f"larger than anything in a car; write a number up to {LARGEST:g}")
    return value


TURNS = ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "FSI", "PDI")
"""Bidirectional classes (Unicode UAX 9) of characters that turn what follows about."""

Sensible = AfterValidator(_sensible)
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False, strict=True), Sensible]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False, strict=True), Sensible]
Finite = Annotated[float, Field(allow_inf_nan=False, strict=True), Sensible]
Yes = Annotated[bool, Field(strict=True)]

assert UNITS == ("mm", "cm", "m", "in")


def _not_zero(value: Vector) -> Vector:
    if sum(x * x for x in value) < 1e-18:
        raise ValueError("a direction of no length; give one that is not zero")
    return value


def _in_order(value: tuple[float, float]) -> tuple[float, float]:
    if value[0] > value[1]:
        raise ValueError(f"the range is reversed; write [lowest, highest]: [{value[1]:g}, {value[0]:g}]")
    return value


def _has_neutral(value: tuple[float, float]) -> tuple[float, float]:
    if not value[0] <= 0 <= value[1]:
        raise ValueError("the range leaves out 0, the pose in which the bay was scanned; widen it to contain 0")
    return value


def _below_a_quarter_turn(value: tuple[float, float]) -> tuple[float, float]:
    if value[0] < -90 or value[1] > 90:
        raise ValueError("no engine on mounts rolls beyond a quarter turn; write degrees from -90 to 90")
    return value


def _one_line(value: str) -> str:
    if not value.strip():
        raise ValueError("no visible character; write a name")
    if any(unicodedata.category(c) in ("Cc", "Zl", "Zp") for c in value):
        raise ValueError("a line break or control character; write it in one line")
    if any(unicodedata.bidirectional(c) in TURNS for c in value):
        raise ValueError("a character that turns the direction of writing; leave it out: reports would show it garbled")
    return value


def _named(value: Path) -> Path:
    if value == Path():
        raise ValueError("no file name; name a file")
    return value


Point = tuple[Finite, Finite, Finite]
Row = tuple[Finite, Finite, Finite, Finite]
Direction = Annotated[Point, AfterValidator(_not_zero)]
Range = Annotated[tuple[Finite, Finite], AfterValidator(_in_order), AfterValidator(_has_neutral)]
Roll = Annotated[Range, AfterValidator(_below_a_quarter_turn)]
Line = Annotated[str, AfterValidator(_one_line)]
FileName = Annotated[Path, AfterValidator(_named)]


class Table(BaseModel):
    """A TOML table: frozen, no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")
