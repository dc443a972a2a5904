"""The shield study in words: what each zone needs, against what is set and what there is, and the cautions."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping

from clearance.outputs.figures import at_most, interval
from clearance.shield.result import SOAK, Gap, Need, ShieldResult, ZoneHeat
from clearance.shield.sheet import told as piece_words

CAUTIONS = (
    "An aid, not an approval: local codes, component makers' limits and a qualified person's judgement come first.",
    "Estimates of steady temperatures. Measure on the car with the neighbours' own limits in hand, driving and after "
    "a hot stop, before relying on any gap.",
    "Hot exhaust parts, lifted cars and moving engines injure and kill. Check every clearance cold and hot before "
    "driving.",
)

FIXING = (
    "  this holds for pieces each fixed to the part at its middle and held in slots elsewhere: hot, they grow "
    "otherwise than the part; what is bolted to the part is not in the job's part: cut the sheet for it"
)

ASSUMED = (
    "The neighbour passes no heat to its back or along itself: hotter than it will be.",
    "Soak: no air moves but by its own buoyancy, and the part stays at its full temperature for as long as the "
    "neighbour takes to warm: hotter than it will be.",
    "Where the part is out of sight the surroundings are at ambient temperature; other zones hide nothing of it. "
    "Air that the part has warmed is not in the model: take it into `ambient`.",
    "Gaps are those at rest, the zone moved along the line of its gap; the clearance is proven over the whole motion.",
    "Shielded: a sheet stands before all that a neighbour sees of the part, as far out as the standoff and as hot as "
    "at the least standoff; it gets heat through still air and by radiation, and nothing flows between them. "
    "Mountings that carry heat are not in the model.",
    "Behind the blank: the sheet where it stands, heated as above by what of the part is nearest to it; what is seen "
    "of the part past it is added, and the sheet is not made less for it. At rest and at the ends of every turn, cold.",
)


def summary(result: ShieldResult, width: int = 100) -> str:
    """Return the findings for a terminal of `width` columns."""
    lines = [*_wrapped(result.job.title, width), *_wrapped(setup(result), width), ""]
    for zone in result.zones:
        lines += [line for sentence in zone_lines(zone) for line in _wrapped(sentence, width)]
        lines.append("")
    if fitted := fitted_lines(result):
        lines += [line for sentence in fitted for line in _wrapped(sentence, width)]
        lines.append("")
    if result.left_out:
        lines += _wrapped(f"left out, no limit given: {', '.join(result.left_out)}", width)
    lines += [line for note in result.notes for line in _wrapped(f"warning: {note}", width)]
    lines += [line for caution in CAUTIONS[:2] for line in _wrapped(caution, width)]
    return "\n".join(lines)


def zone_lines(zone: ZoneHeat) -> list[str]:
    """Return what is to be said of one zone, a sentence each; the first is the answer."""
    place = ", ".join(f"{x:.0f}" for x in zone.place)
    lines = [
        f"{zone.name}: {zone.need.value}",
        f"  limit {zone.limit_C:g} °C ({zone.limit_from})",
        f"  hottest as it stands: bare {_each(zone.bare_C)}, shielded {_each(zone.shielded_C)}; "
        f"at [{place}], {zone.at_rest_mm:.1f} mm from the part, which fills {100 * zone.factor:.0f} % of its view",
        f"  gap needed: bare {_gaps(zone.bare)}; shielded {_gaps(zone.shielded)}",
        f"  clearance proven over the motion, less its guard: {zone.available_mm:.1f} mm",
    ]
    return [*lines, *(f"  {line}" for line in set_gaps(zone))]


def fitted_lines(result: ShieldResult) -> list[str]:
    """Return what is to be said of the room, the blank and its pattern, a sentence each; nothing without a shield."""
    if (shield := result.fitted) is None:
        return []
    blank, pattern = shield.blank, shield.pattern
    lines = [
        f"room: a build of {shield.build_mm:g} mm (standoff, sheet and air behind it) is proven to fit on "
        f"{int(100 * shield.share)} % of the area that heats what gets too hot",
    ]
    if pattern is None:
        return [*lines, "blank: nothing is left of it where the zones are kept clear"]
    told = "proven to clear every zone" if blank.fits else "not proven to clear every zone"
    lines += [
        f"blank: {len(blank.panels)} piece(s), {blank.area_mm2 / 100:.0f} cm², {told} over the whole motion; stops "
        f"{math.floor(100 * blank.covered_share)} % of the lines along which the part heats what gets too hot (worst "
        f"of the poses tried: at rest and at the ends of every turn)",
        f"  it stands {math.floor(10 * blank.to_part_mm) / 10:g} to {math.ceil(blank.farthest_mm)} mm off the part; "
        f"{math.ceil(100 * blank.lost_share - 1e-9)} % of the sheet was cut away to clear the zones",
    ]
    if blank.bare_mm2 > 0:
        at = ", ".join(f"{x:.0f}" for x in blank.bare_at)
        lines.append(
            f"  not covered: {math.ceil(blank.bare_mm2 / 100)} cm² of the part, about [{at}], seen past the sheet"
        )
    lines += behind_lines(result)
    if not blank.fits:
        lines.append("  not enough: it is not proven to clear every zone")
    for check in blank.checks:
        lines.append(
            f"  {check.zone}: {check.verdict.value}, clearance {interval(check.clearance)} mm, "
            f"required {at_most(check.required_mm)} mm, guard {at_most(check.guard_mm)} mm"
        )
    lines += [f"  not seen by the scan beside the blank: {place.zone}: {place.advice}" for place in blank.unseen]
    pieces = (f"  {piece.name}: {piece_words(piece, pattern.sheet_mm)}" for piece in pattern.pieces)
    return [*lines, FIXING, "pattern: folds only, so that all of the blank lies flat", *pieces]


def against_heat(result: ShieldResult) -> list[str]:
    """Return where heat asks for more than there is, whatever the check's verdict, a sentence each."""
    lines = []
    for zone in result.zones:
        shielded = zone.shielded_now and zone.gap_shielded_mm is not None
        set_mm, needed = (zone.gap_shielded_mm, zone.shielded) if shielded else (zone.gap_mm, zone.bare)
        if not all(gap.kept_by(zone.available_mm) for gap in needed.values()):
            lines.append(
                f"The verdict is against the gaps set in the job. Heat asks for more at {zone.name}: {set_mm:g} mm is "
                f"set, {math.floor(10 * zone.available_mm) / 10:g} mm is there, needed "
                f"{'behind a shield' if shielded else 'bare'} {_gaps(needed)}. See Heat below."
            )
    return lines


def behind_lines(result: ShieldResult) -> list[str]:
    """Return how hot each zone gets behind the blank as it is."""
    lines = []
    for zone in result.zones:
        if behind := result.behind_C.get(zone.name):
            said = "NOT enough" if zone in result.too_hot else "within its limit"
            lines.append(f"  {zone.name} behind it: {_each(behind)}, limit {zone.limit_C:g} °C: {said}")
    return lines


def set_gaps(zone: ZoneHeat) -> list[str]:
    """Return what the gaps set in the job come to beside those needed."""
    lines = []
    for word, gap_mm, needed in (
        ("gap", zone.gap_mm, zone.bare),
        ("gap_shielded", zone.gap_shielded_mm, zone.shielded),
    ):
        if gap_mm is None:
            continue
        short = [name for name, gap in needed.items() if not gap.kept_by(gap_mm)]
        said = f"is less than this needs ({', '.join(short)})" if short else "is enough"
        lines.append(f"{word} = {gap_mm:g} mm in the job {said}")
    if zone.need is Need.SHIELD and not zone.shielded_now:
        lines.append("the job counts it as bare: fit the shield and set shielded = true")
    return lines


def gap_words(gap: Gap) -> str:
    """Return a gap as it is told: rounded up to 1 mm, or why there is none."""
    if gap.gap_mm is None:
        return gap.why
    return f"{-int(-gap.gap_mm // 1)} mm"


def _gaps(gaps: Mapping[str, Gap]) -> str:
    return ", ".join(f"{gap_words(gap)} ({name})" for name, gap in gaps.items())


def _each(temperatures_C: Mapping[str, float]) -> str:
    return ", ".join(f"{math.ceil(t)} °C ({name})" for name, t in temperatures_C.items())


def setup(result: ShieldResult) -> str:
    """Return in words the heat and the shield that the study is of."""
    heat, about = result.job.heat, result.about
    assert heat is not None
    regions = "".join(f", {r.name} {r.temperature:g} °C" for r in heat.region)
    speed = f", air at {heat.air_speed:g} m/s while driving" if heat.air_speed else ""
    least = f" ({about.least_mm:g} mm where zones leave no more)" if about.least_mm < about.standoff else ""
    sheets = "one sheet" if about.sheets == 1 else f"two sheets {about.between:g} mm apart"
    return (
        f"part {heat.part_temperature:g} °C{regions}, emissivity {result.part_emissivity[0]:g}; air {heat.ambient:g} °C"
        f"{speed}; {SOAK}: still air. Shield: {sheets} of {about.sheet:g} mm, {about.standoff:g} mm off the part"
        f"{least}, "
        f"emissivity {result.sheet_emissivity[0]:g}, {about.build_mm:g} mm in all"
    )


def _wrapped(text: str, width: int) -> list[str]:
    indent = " " * (len(text) - len(text.lstrip()))
    return textwrap.wrap(text, width, subsequent_indent=indent + "  ")
