"""report.html: one offline page for people, pictures, 3D view and charts inside, nothing from elsewhere."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from clearance.outputs.added import Body
from clearance.outputs.charts import SEGMENTS, budget_chart, roll_chart
from clearance.outputs.colours import BANDS
from clearance.outputs.figures import at_least, at_most, direction, interval, pose_words
from clearance.outputs.inlined import data, script, style
from clearance.outputs.looked_for import looked_for
from clearance.outputs.moving import motion_of
from clearance.outputs.pictures import Picture
from clearance.outputs.record import largest_sigma
from clearance.outputs.roll_curve import roll_curve
from clearance.outputs.scene_data import scene_data
from clearance.outputs.terminal import SIGNS, WORDS
from clearance.verdict.result import CheckResult, Verdict, ZoneResult

CAUTIONS = (
    "This report is an aid, not an approval. Local codes, component makers' limits and the judgement of a licensed or "
    "qualified person come first.",
    "Hot exhaust parts, lifted cars and moving engines injure and kill. Support car and engine properly and keep clear "
    "of what can move.",
    "Check every clearance on the car, cold and hot, before driving.",
)

BUDGET_ROWS = (
    ("registration", "place of the part in the bay, 1 sigma"),
    ("noise", "scan noise, 1 sigma"),
    ("accuracy", "scanner's stated error, 1 sigma"),
    ("tolerance", "tolerance of the finished part, half-width"),
    ("fit", "surface of a shaft completed from scan points, 1 sigma"),
    ("growth", "growth with heat, 1 sigma"),
    ("standard", "combined standard uncertainty"),
    ("spacing", "surface between scan points may be nearer by"),
    ("guard", "guard: what must be in hand for a pass"),
)


SCRIPTS = ("outputs/stage.js", "outputs/draw.js", "outputs/pose.js", "outputs/viewer.js")


def report_page(
    result: CheckResult,
    pictures: Sequence[Picture],
    effective_job: str,
    section: Markup = Markup(),  # noqa: B008
    bodies: Sequence[Body] = (),
    beside_verdict: Sequence[str] = (),
) -> str:
    """Return the page as text. Everything from files and names is escaped.

    `section` is what another command says after the zones, `bodies` what the 3D view shows beside them,
    `beside_verdict` what must be read with the verdict.
    """
    environment = Environment(
        loader=PackageLoader("clearance.outputs", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    tightest = deciding_zone(result.zones)
    return environment.get_template("report.html").render(
        result=result,
        word=WORDS[result.verdict],
        sign=SIGNS[result.verdict],
        tightest=_zone(tightest),
        zones=[_zone(zone) for zone in result.zones],
        pictures=[_picture(picture) for picture in pictures],
        looked_for=looked_for(result),
        sigma=largest_sigma(result.registration, result.part.mesh),
        direction=direction,
        bands=BANDS,
        budget_rows=BUDGET_ROWS,
        cautions=CAUTIONS,
        effective_job=effective_job,
        curves=_curves(result),
        budget=budget_chart(result.zones),
        meanings=dict(BUDGET_ROWS),
        letters=dict(zip(SEGMENTS, "ABCDEFG", strict=True)),
        style=style("outputs/report.css"),
        section=section,
        beside_verdict=beside_verdict,
        bodies=bodies,
        scene=data({**scene_data(result, bodies), "deciding": result.zones.index(tightest)}),
        script=script(*SCRIPTS),
    )


def deciding_zone(zones: Sequence[ZoneResult]) -> ZoneResult:
    """Return the zone that decides: of those with the gravest verdict the one nearest to failing."""
    grave = [Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS]
    return min(zones, key=lambda z: (grave.index(z.verdict), z.margin_mm - z.budget.guard))


def _curves(result: CheckResult) -> list[dict[str, Any]]:
    curves = [(zone, roll_curve(zone, motion_of(result, zone))) for zone in result.zones]
    return [roll_chart(zone, curve) for zone, curve in curves if curve is not None]


def _picture(picture: Picture) -> dict[str, Any]:
    data = base64.b64encode(picture.path.read_bytes()).decode("ascii")
    return {"source": f"data:image/png;base64,{data}", "caption": picture.caption, "zone": picture.zone}


def _zone(zone: ZoneResult) -> dict[str, Any]:
    return {
        "result": zone,
        "word": WORDS[zone.verdict],
        "sign": SIGNS[zone.verdict],
        "pose": pose_words(zone.sweep.worst) + _grown(zone.factor),
        "clearance": interval(zone.sweep.clearance),
        "at_rest": interval(zone.at_rest_mm),
        "margin": at_least(zone.margin_mm),
        "guard": at_most(zone.budget.guard),
    }


def _grown(factor: float) -> str:
    """Return the part's growth at the worst in words, nothing where it has its modelled size."""
    return "" if factor == 1.0 else f", part grown {100 * (factor - 1):+.2f} %"
