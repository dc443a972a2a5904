"""Every key of a job file in plain words, drawn from the schema."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from pathlib import Path
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from clearance.job.schema import Job
from clearance.job.write import toml_value

WIDTH = 118
LIMITS = (("ge", ">="), ("gt", ">"), ("le", "<="), ("lt", "<"))
HEAD = (
    "Keys of a job file (TOML). Lengths are mm and angles degrees, but for the coordinates in files, whose unit is "
    "stated. Paths are relative to the job file. `a.b` is key b of the inline table a, `a[].b` key b of each table "
    "in the array a; a key is required where its table is there."
)


def describe() -> str:
    """Return the reference: table by table a line per key with type, default or need, unit and meaning."""
    blocks = [textwrap.fill(HEAD, WIDTH)]
    for name, field in _fields(Job):
        inner, many = _table_in(field.annotation)
        if inner is None:
            blocks.append("\n".join(_columns([_row(name, field)])))
            continue
        heading = f"{f'[[{name}]]' if many else f'[{name}]'} ({_need(field)}): {field.description}"
        blocks.append("\n".join([textwrap.fill(heading, WIDTH), *_columns(list(_rows(inner, "")))]))
    return "\n\n".join(blocks)


def _fields(table: type[BaseModel]) -> Iterator[tuple[str, FieldInfo]]:
    return ((field.alias or key, field) for key, field in table.model_fields.items() if not field.exclude)


def _rows(table: type[BaseModel], prefix: str) -> Iterator[tuple[str, str]]:
    """Return a row per key, inner tables right below the key that holds them."""
    for key, field in _fields(table):
        yield _row(prefix + key, field)
        inner, many = _table_in(field.annotation)
        if inner is not None:
            yield from _rows(inner, f"{prefix}{key}{'[].' if many else '.'}")


def _row(name: str, field: FieldInfo) -> tuple[str, str]:
    return name, f"{_type(field.annotation, field.metadata)}, {_need(field)}: {field.description}"


def _columns(rows: list[tuple[str, str]]) -> list[str]:
    wide = max(len(name) for name, _ in rows)
    lines = []
    for name, meaning in rows:
        start = f"  {name:{wide}}  "
        lines.append(textwrap.fill(meaning, WIDTH, initial_indent=start, subsequent_indent=" " * len(start)))
    return lines


def _need(field: FieldInfo) -> str:
    if field.is_required():
        return "required"
    value = field.get_default(call_default_factory=True, validated_data={})
    if value is None or value == () or isinstance(value, BaseModel):
        return "optional"
    return f"default {toml_value(list(value) if isinstance(value, tuple) else value)}"


def _type(annotation: Any, limits: Any = ()) -> str:
    """Return an annotation in words."""
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return _type(inner[0], inner[1:])
    if origin in (Union, UnionType):
        return " or ".join(_type(option, limits) for option in inner if option is not NoneType)
    if origin is Literal:
        return " | ".join(toml_value(option) for option in inner)
    if origin is tuple:
        several = "array of" if inner[-1] is Ellipsis else f"{len(inner)}"
        one = _type(inner[0])
        return f"{several} rows of {one}" if one.endswith("s") else f"{several} {one}s"
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return "table"
    words = {str: "text", Path: "file name", bool: "true | false", int: "whole number", float: "number"}
    return words[annotation] + "".join(f" {sign} {limit:g}" for sign, limit in _limits(limits))


def _limits(metadata: Any) -> Iterator[tuple[str, float]]:
    for item in metadata:
        if isinstance(item, FieldInfo):
            yield from _limits(item.metadata)
        yield from ((sign, getattr(item, name)) for name, sign in LIMITS if hasattr(item, name))


def _table_in(annotation: Any) -> tuple[type[BaseModel] | None, bool]:
    """Return the table an annotation holds, and whether it is an array of them."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    found = next((t for t in map(_table_in, get_args(annotation)) if t[0] is not None), (None, False))
    return found[0], found[1] or (found[0] is not None and get_origin(annotation) is tuple)
