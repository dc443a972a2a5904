"""The verdict in a few lines of plain text for the terminal."""

from __future__ import annotations

import textwrap

from clearance.outputs.figures import at_least, at_most, direction, interval
from clearance.outputs.looked_for import looked_for
from clearance.outputs.record import pose_degrees
from clearance.verdict.result import CheckResult, Verdict, ZoneResult

WORDS = {Verdict.PASS: "PASS", Verdict.FAIL: "FAIL", Verdict.UNDECIDED: "UNDECIDED"}
SIGNS = {Verdict.PASS: "\u2713", Verdict.FAIL: "\u2717", Verdict.UNDECIDED: "?"}
MOST_FIXES = 4

SHORTEST_CUT = 24
"""Characters below which no name is cut; where even that is too wide, zones are told as a list."""


def summary(result: CheckResult, *, width: int, ascii_only: bool) -> str:
    """Return verdict, table of zones, what must move and what was not checked, no wider than `width` columns."""
    width = max(width, 30)
    sign = "" if ascii_only else f" {SIGNS[result.verdict]}"
    lines = [
        *_wrapped(f"{WORDS[result.verdict]}{sign}  {result.job.title}", width),
        *_wrapped(result.reason, width),
        "",
    ]
    table = _table(result.zones, width)
    if max(map(len, table)) <= width:
        lines += table
        lines += _list(tuple(zone for zone in result.zones if zone.verdict is not Verdict.PASS), width)
    else:
        lines += _list(result.zones, width)
    for access in result.access:
        lines += _wrapped(f"{access.outcome.upper()}: access {access.name}: {access.reason}", width)
    lines.append("")
    for fix in result.fixes[:MOST_FIXES]:
        place = ", ".join(f"{x:.0f}" for x in fix.centre)
        lines += _wrapped(
            f"move {fix.short_mm:.1f} mm along {direction(fix.direction)} at [{place}] to clear {fix.zone}", width
        )
    if len(result.fixes) > MOST_FIXES:
        lines.append(f"and {len(result.fixes) - MOST_FIXES} more places: see the report")
    if result.notes:
        lines.append(f"notes to read in the report: {len(result.notes)}")
    lines += _wrapped(looked_for(result), width)
    text = "\n".join("".join(c if c.isprintable() else "?" for c in line.rstrip()) for line in lines)
    return text.encode("ascii", "replace").decode() if ascii_only else text


def _table(zones: tuple[ZoneResult, ...], width: int) -> list[str]:
    """Return the rows, names whole where they fit `width` columns, else cut to what fits."""
    head = ("zone", "required", "clearance mm", "guard", "at rest", "worst roll", "verdict")
    rows = [head, *(_cells(zone) for zone in zones)]
    widths = [max(len(row[i]) for row in rows) for i in range(len(head))]
    most = max(SHORTEST_CUT, width - sum(widths[1:]) - 2 * (len(head) - 1))
    if widths[0] > most:
        rows = [(_cut(row[0], most), *row[1:]) for row in rows]
        widths[0] = most
    return ["  ".join(_padded(cell, widths[i], left=i in (0, len(head) - 1)) for i, cell in enumerate(r)) for r in rows]


def _cut(name: str, most: int) -> str:
    return name if len(name) <= most else name[: most - 3] + "..."


def _padded(cell: str, width: int, *, left: bool) -> str:
    return cell.ljust(width) if left else cell.rjust(width)


def _cells(zone: ZoneResult) -> tuple[str, ...]:
    bound, roll = zone.sweep.clearance, pose_degrees(zone.sweep.worst)["roll_deg"]
    return (
        zone.zone.name,
        f"{zone.zone.gap_mm:g}",
        interval(bound),
        at_most(zone.budget.guard),
        at_least(zone.at_rest_mm.lower),
        "-" if roll is None else f"{roll:+.2f} deg",
        WORDS[zone.verdict],
    )


def _list(zones: tuple[ZoneResult, ...], width: int) -> list[str]:
    lines = []
    for zone in zones:
        lines += _wrapped(f"{WORDS[zone.verdict]}: {zone.zone.name}: {zone.reason}", width)
    return lines


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, subsequent_indent="  ")
