"""What another command adds to the report of a check: a section of the page, a table of report.json, bodies to see."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from clearance.scene.mesh import Mesh


@dataclass(frozen=True, eq=False, kw_only=True)
class Body:
    """A body for the 3D view that rides with the part and has no clearance colours. Bay frame, neutral pose, mm."""

    name: str
    note: str
    mesh: Mesh


@dataclass(frozen=True, eq=False, kw_only=True)
class Added:
    """What is added.

    Attributes
    ----------
    key, tree
        Table of report.json and what it holds, plain data.
    beside_verdict : what must be read with the verdict, a sentence each
    bodies : for the 3D view
    names : pattern of the names of further files in the report's folder
    fill
        Writes them into the folder that it is given and returns the section as HTML with everything escaped.
    """

    key: str
    tree: dict[str, Any]
    beside_verdict: tuple[str, ...] = ()
    bodies: tuple[Body, ...]
    names: re.Pattern[str]
    fill: Callable[[Path], Markup]
