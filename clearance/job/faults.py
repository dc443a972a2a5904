"""Turn what pydantic found into one line in the job file's own words."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from clearance.errors import InputError
from clearance.job.schema import FORESEEN, Job

TOML_TYPES = {bool: "true or false", int: "a number", float: "a number", str: "text", list: "a list", dict: "a table"}

WANTED = {
    "string_type": "write text in quotes",
    "float_type": "write a number",
    "float_parsing": "write a number",
    "bool_type": "write true or false",
    "bool_parsing": "write true or false",
    "finite_number": "write a finite number",
    "path_type": "write a file name in quotes",
    "tuple_type": "write a list of the values",
    "model_type": "write a table, such as { key = value }",
    "model_attributes_type": "write a table, such as { key = value }",
}


def first_fault(fault: ValidationError, tree: dict[str, Any], file: Path) -> InputError:
    """Return the first fault of a job, unknown keys first since they often cause the others."""
    found = _without_echoes(fault.errors(include_url=False))
    unknown = [e for e in found if e["type"] == "extra_forbidden"]
    chosen = (unknown or found)[0]
    others = len({_key(e["loc"], tree) for e in found} - {_key(chosen["loc"], tree)})
    error = _unknown_key(chosen, tree, file) if unknown else _bad_value(chosen, tree, file)
    if others:
        error = InputError(error.where, error.found, f"{error.wanted} (and {others} more)", error.key)
    return error


def _without_echoes(found: list[ErrorDetails]) -> list[ErrorDetails]:
    """Leave out what follows from another fault: a list short of its faulty entries, the text choice of a number."""
    deep = [e["loc"] for e in found]
    kept = [e for e in found if not any(len(loc) > len(e["loc"]) and loc[: len(e["loc"])] == e["loc"] for loc in deep)]
    return [e for e in kept if e["type"] != "literal_error" or _alternatives(e, kept) == 1] or kept


def _alternatives(error: ErrorDetails, found: list[ErrorDetails]) -> int:
    return sum(1 for other in found if other["loc"][:-1] == error["loc"][:-1] and other["input"] is error["input"])


def _unknown_key(error: ErrorDetails, tree: dict[str, Any], file: Path) -> InputError:
    *parents, name = error["loc"]
    table = _key(parents, tree)
    model = _model_at(parents)
    tables = [str(p) for p in parents if isinstance(p, str)]
    if str(name) in FORESEEN.get(tables[0] if len(tables) == 1 else "" if not tables else "-", ()):
        return InputError(
            file,
            "not supported by this version",
            "leave it out: nothing would be done about it",
            _join(table, str(name)),
        )
    known = sorted(_names(model)) if model is not None else []
    near = difflib.get_close_matches(str(name), known, n=1, cutoff=0.5)
    wanted = f"did you mean {near[0]}?" if near else f"known keys here: {', '.join(known)}"
    return InputError(file, "unknown key", wanted, _join(table, str(name)))


def _bad_value(error: ErrorDetails, tree: dict[str, Any], file: Path) -> InputError:
    key, kind, value = _key(error["loc"], tree), error["type"], error["input"]
    about = _about(error["loc"])
    if kind == "missing":
        return InputError(file, "missing", f"add it: {about}" if about else "add it", key)
    limits = error.get("ctx", {})
    if kind == "tuple_type" and isinstance(value, dict):
        return InputError(file, f"[{key}] is one table", f"write [[{key}]], in double brackets, for each", key)
    if kind == "value_error":
        said = str(limits.get("error", error["msg"]))
        found, _, wanted = said.partition("; ")
        shown = f"{_shown(value)}: {found}" if not isinstance(value, dict) else found
        return InputError(file, shown, wanted or about or "see `clearance new --keys`", key)
    if kind == "literal_error":
        return InputError(file, _shown(value), f"write one of {limits['expected']}".replace(" or ", ", "), key)
    for name, words in (("ge", "at least"), ("gt", "above"), ("le", "at most"), ("lt", "below")):
        if name in limits:
            return InputError(
                file, _shown(value), f"write {words} {limits[name]:g}" + (f": {about}" if about else ""), key
            )
    if kind in ("too_short", "too_long", "string_too_short"):
        least, most = limits.get("min_length"), limits.get("max_length")
        count = f"{least} or more" if most is None else f"{most}"
        what = "character(s)" if kind == "string_too_short" else "entries"
        return InputError(file, f"{limits.get('actual_length', 0)} {what}", f"write {count}", key)
    wanted = WANTED.get(kind, error["msg"][0].lower() + error["msg"][1:])
    if kind == "missing_positional_only_argument" or not about:
        return InputError(file, _shown(value), wanted, key)
    return InputError(file, _shown(value), f"{wanted}: {about}", key)


def _shown(value: Any) -> str:
    """Return a TOML-like rendering with its type, short enough for one line."""
    text = f'"{value}"' if isinstance(value, str) else str(value).lower() if isinstance(value, bool) else str(value)
    if len(text) > 60:
        text = text[:57] + "..."
    return f"{text} is {TOML_TYPES.get(type(value), 'a value')}"


def _key(loc: Sequence[int | str], tree: Any) -> str:
    """Return a place in TOML words: zones and landmarks by name, others by number from 1."""
    key, node = "", tree
    for at, step in enumerate(loc):
        if isinstance(step, int):
            node = node[step] if isinstance(node, list) and step < len(node) else None
            name = node.get("name") if isinstance(node, dict) else None
            key += f" '{name}'" if isinstance(name, str) else f"[{step + 1}]"
        elif isinstance(node, dict) and (step in node or at == len(loc) - 1):
            named = key.endswith("'") and at < 3
            key = f"{key}: {step}" if named else _join(key, step)
            node = node.get(step)
    return key


def _join(table: str, name: str) -> str:
    if not table:
        return name
    return f"{table}: {name}" if table.endswith("'") else f"{table}.{name}"


def _model_at(loc: Sequence[int | str]) -> type[BaseModel] | None:
    model: type[BaseModel] | None = Job
    for step in loc:
        if isinstance(step, str) and model is not None:
            model = _inner(_field(model, step))
    return model


def _field(model: type[BaseModel], name: str) -> Any:
    for key, field in model.model_fields.items():
        if name in (key, field.alias):
            return field
    return None


def _inner(field: Any) -> type[BaseModel] | None:
    """Return the table inside an annotation such as `tuple[Zone, ...] | None`."""
    todo = [field.annotation] if field is not None else []
    while todo:
        annotation = todo.pop()
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            return annotation
        todo += get_args(annotation)
    return None


def _names(model: type[BaseModel]) -> list[str]:
    return [field.alias or key for key, field in model.model_fields.items() if not field.exclude]


def _about(loc: Sequence[int | str]) -> str:
    """Return what the schema says about a key."""
    keys = [i for i, step in enumerate(loc) if isinstance(step, str)]
    for last in reversed(keys):
        model = _model_at(loc[:last])
        field = _field(model, str(loc[last])) if model is not None else None
        if field is not None:
            return str(field.description or "")
    return ""
