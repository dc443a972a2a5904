"""Several candidate parts side by side: one table for the terminal and one page that links to the reports."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from clearance.outputs.figures import at_least
from clearance.outputs.stems import stems
from clearance.outputs.terminal import WORDS
from clearance.verdict.result import CheckResult, Verdict

PAGE = "compare.html"
GRAVEST = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS)


def folders(parts: tuple[Path, ...]) -> dict[Path, str]:
    """Return the name of each candidate's own folder, no two alike: with the way to its file where two share a name."""
    shared = len({part.stem for part in parts}) < len(parts)
    names = {part: str(part.with_suffix("")) if shared else part.stem for part in parts}
    found = stems(names.values())
    return {part: found[name] for part, name in names.items()}


def rows(results: Mapping[str, CheckResult]) -> list[tuple[str, ...]]:
    """Return the head and a row per candidate: verdict, and each zone's margin less its guard, mm, what is in hand."""
    names = list(dict.fromkeys(zone.zone.name for result in results.values() for zone in result.zones))
    table = [("part", "verdict", *names)]
    for label, result in results.items():
        by_name = {zone.zone.name: zone for zone in result.zones}
        spare = (
            at_least(by_name[name].margin_mm - by_name[name].budget.guard) if name in by_name else "-" for name in names
        )
        table.append((label, WORDS[result.verdict], *spare))
    return table


def lines(results: Mapping[str, CheckResult], width: int) -> list[str]:
    """Return the table and each candidate's reason; no wider than `width` where names allow."""
    table = rows(results)
    widths = [max(len(row[i]) for row in table) for i in range(len(table[0]))]
    told = ["in hand beyond gap and guard, mm:"]
    told += ["  ".join(cell.ljust(wide) for cell, wide in zip(row, widths, strict=True)).rstrip() for row in table]
    for label, result in results.items():
        told += textwrap.wrap(f"{label}: {result.reason}", max(width, 30), subsequent_indent="  ")
    return told


def page(results: Mapping[str, CheckResult]) -> str:
    """Return the page; each candidate's label is the folder of its report, beside the page."""
    head, *body = rows(results)
    names = head[2:]
    candidates = [
        {
            "folder": row[0],
            "verdict": result.verdict.value,
            "word": row[1],
            "spare": list(zip(names, row[2:], strict=True)),
            "reason": result.reason,
        }
        for row, result in zip(body, results.values(), strict=True)
    ]
    loader = PackageLoader("clearance.outputs")
    environment = Environment(loader=loader, autoescape=True, undefined=StrictUndefined)
    return environment.get_template("compare.html").render(
        title=next(iter(results.values())).job.title,
        names=names,
        candidates=candidates,
        style=Markup(loader.get_source(environment, "report.css")[0]),
    )


def gravest(results: Mapping[str, CheckResult]) -> Verdict:
    """Return the gravest verdict of all candidates."""
    return min((result.verdict for result in results.values()), key=GRAVEST.index)
