"""What axe-core finds on a page."""

from __future__ import annotations

from pathlib import Path

from browser import Page

GRAVE = ("serious", "critical")


def findings(page: Page, axe: Path) -> list[str]:
    """Return the serious and critical findings, one line each."""
    page.ask(axe.read_text(encoding="utf-8") + "; 0")
    found = page.ask(
        "axe.run(document, {resultTypes: ['violations']}).then(r => r.violations.map(v => "
        "[v.impact, v.id, v.nodes.map(n => n.target.join(' ') + ' ' + n.failureSummary).join('; ')]))"
    )
    return [f"{impact}: {name}: {where}" for impact, name, where in found if impact in GRAVE]
