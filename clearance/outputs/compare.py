"""Several candidate parts side by side: one table for the terminal and one page that links to the reports."""

from __future__ import annotations

import textwrap
from collections.abc import Mapping
from html import escape
from pathlib import Path

from clearance.outputs.figures import at_least
from clearance.outputs.stems import stems
from clearance.outputs.terminal import WORDS
from clearance.verdict.result import CheckResult, Verdict

PAGE = "compare.html"
GRAVEST = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.PASS)


def folders(parts: tuple[Path, ...]) -> dict[Path, str]:
    """Return the name of each candidate's own folder, no two alike."""
    found: dict[str, str] = stems(str(part.with_suffix("")) for part in parts)
    return {part: found[str(part.with_suffix(""))] for part in parts}


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
    cells = "".join(f"<th>{escape(name)}</th>" for name in (*head, "why"))
    told = [f"<tr>{cells}</tr>"]
    for row, result in zip(body, results.values(), strict=True):
        link = f'<td><a href="{escape(row[0])}/report.html">{escape(row[0])}</a></td>'
        rest = "".join(f"<td>{escape(cell)}</td>" for cell in (*row[1:], result.reason))
        told.append(f"<tr>{link}{rest}</tr>")
    title = escape(next(iter(results.values())).job.title)
    cell = "td,th{text-align:left;padding:.3rem .6rem;border-bottom:1px solid #d5d8dc}"
    style = f"body{{font:16px/1.5 system-ui,sans-serif;margin:1.2rem}}{cell}"
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{title}: candidates</title>'
        f"<style>{style}</style></head><body><h1>{title}: candidates</h1><p>In hand beyond gap and guard, mm.</p>"
        f"<table>{''.join(told)}</table><p>An aid, not an approval: check on the car, cold and hot, before driving.</p>"
        "</body></html>\n"
    )


def gravest(results: Mapping[str, CheckResult]) -> Verdict:
    """Return the gravest verdict of all candidates."""
    return min((result.verdict for result in results.values()), key=GRAVEST.index)
