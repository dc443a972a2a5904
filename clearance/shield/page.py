"""What a report says of heat: a section of its page, no script."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from clearance.heat.sight import RAYS, sampling_words
from clearance.shield.result import Need, ShieldResult, ZoneHeat
from clearance.shield.text import ASSUMED, CAUTIONS, fitted_lines, gap_words, set_gaps, setup

CAPTIONS = {
    "shield_room": "How thick a shield, its standoff and the air behind it are proven to fit, over the whole motion.",
    "shield_blank": "The blank on the part.",
    "shield_pattern": "The flat pattern; print or cut shield_pattern.svg or .dxf at 1:1 and check the scale bar.",
}
SIGNS = {Need.NOTHING: "\u2713", Need.SHIELD: "\u25c7", Need.MORE_ROOM: "\u2717"}


def section(result: ShieldResult, pictures: Sequence[Path]) -> Markup:
    """Return the section as HTML with the pictures, PNG or SVG, inside. Everything from files and names is escaped."""
    environment = Environment(
        loader=PackageLoader("clearance.shield", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    text = environment.get_template("section.html").render(
        result=result,
        setup=setup(result),
        signs=SIGNS,
        degrees=lambda temperature_C: str(math.ceil(temperature_C)),
        available=_available,
        gap_words=gap_words,
        set_gaps=set_gaps,
        assumed=ASSUMED,
        cautions=CAUTIONS,
        fitted_lines=fitted_lines,
        pictures=[_picture(path) for path in pictures],
        sampling=sampling_words(RAYS),
    )
    return Markup(text)


def _available(zone: ZoneHeat) -> str:
    return f"{math.floor(10 * zone.available_mm) / 10:.1f}"


def _picture(path: Path) -> dict[str, str]:
    kind = "svg+xml" if path.suffix == ".svg" else "png"
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    return {"source": f"data:image/{kind};base64,{data}", "caption": CAPTIONS[path.stem]}
