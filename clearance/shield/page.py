"""shield.html: the shield study as one offline page, no script."""

from __future__ import annotations

from jinja2 import Environment, PackageLoader, StrictUndefined

from clearance.heat.sight import RAYS, sampling_bound
from clearance.shield.result import Need, ShieldResult
from clearance.shield.text import ASSUMED, CAUTIONS, gap_words, set_gaps, setup

SIGNS = {Need.NOTHING: "\u2713", Need.SHIELD: "\u25c7", Need.MORE_ROOM: "\u2717"}


def page(result: ShieldResult) -> str:
    """Return the page as text. Everything from files and names is escaped."""
    environment = Environment(
        loader=PackageLoader("clearance.shield", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("shield.html").render(
        result=result,
        setup=setup(result),
        signs=SIGNS,
        gap_words=gap_words,
        set_gaps=set_gaps,
        assumed=ASSUMED,
        cautions=CAUTIONS,
        sampling=sampling_bound(RAYS),
    )
