"""Every key of a job file in plain words, drawn from the schema."""

from __future__ import annotations

from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from clearance.job.schema import Job


def describe() -> str:
    """Return the reference of every key: name, default, meaning; inner tables indented below."""
    lines = ["Keys of a job file (TOML). Lengths are mm and angles degrees unless a table has a unit.", ""]
    for field in Job.model_fields.values():
        if field.exclude:
            continue
        lines += _lines(field, field.alias or _own_name(field), 0)
        lines.append("")
    return "\n".join(lines).rstrip()


def _own_name(field: FieldInfo) -> str:
    return next(name for name, own in Job.model_fields.items() if own is field)


def _lines(field: FieldInfo, name: str, depth: int) -> list[str]:
    inner, many = _table_in(field.annotation)
    pad = "  " * depth
    if inner is None:
        return [f"{pad}{name} ({_default(field)}): {field.description or ''}".rstrip()]
    heading = {0: f"[[{name}]]" if many else f"[{name}]"}.get(depth, f"{name} = {'[{ }, ...]' if many else '{ }'}")
    about = field.description or (inner.__doc__ or "").split(": ", 1)[-1].strip()
    lines = [f"{pad}{heading} ({_default(field)}): {about}"]
    for key, own in inner.model_fields.items():
        lines += _lines(own, own.alias or key, depth + 1)
    return lines


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "required"
    value = field.get_default(call_default_factory=True, validated_data={})
    if value is None or value == () or isinstance(value, BaseModel):
        return "optional"
    if isinstance(value, bool):
        return f"default {str(value).lower()}"
    if isinstance(value, str):
        return f'default "{value}"'
    if isinstance(value, tuple):
        return "default [" + ", ".join(f"{v:g}" for v in value) + "]"
    return f"default {value:g}"


def _table_in(annotation: Any) -> tuple[type[BaseModel] | None, bool]:
    """Return the table an annotation holds, and whether it is a list of them."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    origin = get_origin(annotation)
    if origin in (Union, UnionType):
        for option in get_args(annotation):
            if option is not NoneType and _table_in(option)[0] is not None:
                return _table_in(option)
    if origin is tuple:
        return _table_in(get_args(annotation)[0])[0], True
    if origin is Literal:
        return None, False
    return None, False
