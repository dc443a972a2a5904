"""Turn what pydantic found into one line in the job file's own words."""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, time
from pathlib import Path
from typing import Any, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from clearance.errors import InputError
from clearance.job.schema import FORESEEN, Job
from clearance.job.write import toml_value

SHOWN = 60
"""Characters of a value that a line shows at most."""

TOML_TYPES: tuple[tuple[type | tuple[type, ...], str], ...] = (
    (bool, "a boolean"), (int, "an integer"), (float, "a float"), (str, "a string"), (list, "an array"),
    (dict, "a table"), ((date, time), "a date or time"),
)  # fmt: skip

WANTED = {
    "string_type": "write text in quotes",
    "float_type": "write a number",
    "int_type": "write a whole number",
    "bool_type": "write true or false",
    "path_type": "write a file name in quotes",
    "tuple_type": "write an array: [ , ]",
    "model_type": "write a table: { key = value }",
}

LIMITS = (("ge", "at least"), ("gt", "above"), ("le", "at most"), ("lt", "below"))


def first_fault(fault: ValidationError, tree: dict[str, Any], file: Path, root: type[BaseModel] = Job) -> InputError:
    """Return the first fault of a job, or of another file whose tables `root` tells; unknown keys first.

    Those often cause the others.
    """
    found = _distinct(fault.errors(include_url=False), tree, root)
    unknown = [e for e in found if e["type"] == "extra_forbidden"]
    meant = {(*e["loc"][:-1], _nearest(e, root)) for e in unknown}
    found = [e for e in found if e["type"] != "missing" or e["loc"] not in meant]
    error = _unknown_key(unknown[0], tree, file, root) if unknown else _bad_value(found[0], tree, file, root)
    if len(found) > 1:
        error = InputError(error.where, error.found, f"{error.wanted} (and {len(found) - 1} more)", error.key)
    return error


def _distinct(found: list[ErrorDetails], tree: Any, root: type[BaseModel]) -> list[ErrorDetails]:
    """Leave out what follows from a fault further in, and all but one of a key's faults."""
    deep = [e["loc"] for e in found]
    by_key: dict[str, ErrorDetails] = {}
    for error in found:
        loc = error["loc"]
        if any(len(other) > len(loc) and other[: len(loc)] == loc for other in deep):
            continue
        key = _place(error, tree, root).key
        if key not in by_key or by_key[key]["type"] == "literal_error":
            by_key[key] = error
    return list(by_key.values())


@dataclass(frozen=True)
class _Place:
    """A place in the job: its key in TOML words, the entries of an array below it, and what the schema says."""

    key: str
    entries: tuple[int, ...]
    value: Any
    about: str
    width: int

    @property
    def hint(self) -> str:
        """What the schema says, ready to be put behind an advice."""
        return f" ({self.about})" if self.about else ""


def _place(error: ErrorDetails, tree: Any, root: type[BaseModel]) -> _Place:
    """Follow an error's path: zones, datums and landmarks by name, or by number from 1 where they have none."""
    model: type[BaseModel] | None = root
    key, about, width, node, joint, entries, array = "", "", 0, tree, "", [], tree
    for at, step in enumerate(error["loc"]):
        if isinstance(step, int):
            node = node[step] if isinstance(node, list) and step < len(node) else None
            if model is None:
                entries.append(step + 1)
                continue
            name = node.get("name") if isinstance(node, dict) else None
            key, joint = f"{key} '{name}'" if isinstance(name, str) else f"{key} {step + 1}", ": "
            continue
        field = _field(model, step) if model is not None else None
        if field is None and not (error["type"] == "extra_forbidden" and at == len(error["loc"]) - 1):
            break
        model, about, width = None, "", 0
        if field is not None:
            model, about, width = _inner(field), field.description or "", _width(field.annotation)
        key, joint = f"{key}{joint}{step}", "."
        node = array = node.get(step) if isinstance(node, dict) else None
    return _Place(key, tuple(entries), array if entries else error["input"], about, width)


def _unknown_key(error: ErrorDetails, tree: dict[str, Any], file: Path, root: type[BaseModel]) -> InputError:
    *parents, name = error["loc"]
    key = _place(error, tree, root).key
    tables = [step for step in parents if isinstance(step, str)]
    if len(tables) < 2 and str(name) in FORESEEN.get("".join(tables), ()):
        return InputError(file, "not supported by this version", "leave it out: nothing would be done about it", key)
    near = _nearest(error, root)
    known = ", ".join(sorted(_names(_model_at(parents, root))))
    return InputError(file, "unknown key", f"did you mean {near}?" if near else f"known keys here: {known}", key)


def _nearest(error: ErrorDetails, root: type[BaseModel]) -> str:
    """Return the known key most like an unknown one, or nothing."""
    *parents, name = error["loc"]
    near = difflib.get_close_matches(str(name), _names(_model_at(parents, root)), n=1, cutoff=0.5)
    return near[0] if near else ""


def _bad_value(error: ErrorDetails, tree: dict[str, Any], file: Path, root: type[BaseModel]) -> InputError:
    place, kind, limits = _place(error, tree, root), error["type"], error.get("ctx", {})
    key, about = place.key, place.hint
    if kind == "missing" and not place.entries:
        return InputError(file, "missing", f"add it{about}", key)
    if (
        kind == "tuple_type"
        and isinstance(place.value, dict)
        and key in ("zone", "datum", "move", "register.pair", "register.set")
    ):
        return InputError(file, "this is one table", "write an array of tables" + _double(key), key)
    if kind == "value_error":
        found, _, wanted = str(limits["error"]).partition("; ")
        return InputError(
            file, found if isinstance(place.value, dict) else f"{_shown(place.value)}: {found}", wanted, key
        )
    if kind == "literal_error":
        choices = limits["expected"].replace("'", '"').replace(" or ", ", ")
        return InputError(file, _found(error, place, "not one of them"), f"write one of {choices}", key)
    if kind in ("missing", "too_short", "too_long"):
        return InputError(file, *_wrong_length(error, place), key)
    for name, words in LIMITS:
        if name in limits:
            return InputError(file, f"found {_shown(error['input'])}", f"write {words} {limits[name]:g}{about}", key)
    if kind == "string_too_long":
        count = len(error["input"])
        return InputError(file, f"{count} characters", f"write {limits['max_length']} at most{about}", key)
    if kind == "finite_number" or (kind == "float_type" and type(error["input"]) is int):
        return InputError(file, f"found {_shown(error['input'])}", f"write a finite number{about}", key)
    return InputError(file, _found(error, place), f"{WANTED.get(kind, 'write another value')}{about}", key)


def _double(key: str) -> str:
    return f": [[{key}]], in double brackets, heads each" if key in ("zone", "datum", "move") else ": [ { }, { }, ... ]"


def _found(error: ErrorDetails, place: _Place, what: str = "") -> str:
    """Return the value with what it is (without `what` its TOML type), and which entry of an array it is."""
    value = error["input"]
    named = what or next((name for types, name in TOML_TYPES if isinstance(value, types)), "another type")
    entry = "".join(f"entry {number} of " for number in reversed(place.entries))
    return f"{entry}{_shown(place.value)}: {_shown(value)} is {named}" if entry else f"{_shown(value)} is {named}"


def _wrong_length(error: ErrorDetails, place: _Place) -> tuple[str, str]:
    """Return found and wanted of an array that is too short or too long."""
    array, inside = place.value, place.entries[:-1] if error["type"] == "missing" else place.entries
    for entry in inside:
        array = array[entry - 1]
    count = str(place.width) if place.width else "1 or more"
    found = f"{_shown(array)} has {len(array)} {'entry' if len(array) == 1 else 'entries'}"
    return found, f"write {count}{place.hint}"


def _width(annotation: Any) -> int:
    """Return how many entries the innermost array of an annotation has; 0 where any number may be."""
    arguments = get_args(annotation)
    if get_origin(annotation) is tuple and Ellipsis not in arguments:
        return _width(arguments[0]) or len(arguments)
    return max((_width(a) for a in arguments), default=0)


def _shown(value: Any) -> str:
    """Return a value as TOML, cut to what fits one line."""
    try:
        text = " ".join(toml_value(value).split())
    except ValueError:
        return "a number too long to show"
    return text if len(text) <= SHOWN else text[: SHOWN - 3] + "..."


def _model_at(loc: Sequence[int | str], root: type[BaseModel]) -> type[BaseModel]:
    """Return the table that a path leads to."""
    model = root
    for step in loc:
        if isinstance(step, str):
            inner = _inner(_field(model, step))
            assert inner is not None, loc
            model = inner
    return model


def _field(model: type[BaseModel], name: str) -> FieldInfo | None:
    return next((field for key, field in model.model_fields.items() if name == (field.alias or key)), None)


def _inner(field: FieldInfo | None) -> type[BaseModel] | None:
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
