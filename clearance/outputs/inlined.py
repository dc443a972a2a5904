"""Scripts, style sheets and data as they stand inside a page: one file, nothing fetched."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import Any

from markupsafe import Markup

PACKAGE = files("clearance")


def style(name: str) -> Markup:
    """Return a style sheet, named as room/file."""
    return Markup(_text(name))


def script(*names: str) -> Markup:
    """Return scripts, each named as room/file, as one whose names nothing else on the page sees."""
    return Markup('(() => {\n"use strict";\n' + "\n".join(map(_text, names)) + "\n})();")


def data(tree: dict[str, Any]) -> Markup:
    """Return plain data as JSON that cannot end the element it stands in, whatever names it holds."""
    text = json.dumps(tree, allow_nan=False, separators=(",", ":"))
    return Markup(text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def _text(name: str) -> str:
    room, file = name.split("/")
    return PACKAGE.joinpath(room, "templates", file).read_text(encoding="utf-8")
