"""The charts of the page as plain numbers in pixels: roll curve and budget. The templates draw them as SVG."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from clearance.frames import Array
from clearance.outputs.figures import at_least, at_most, interval
from clearance.outputs.roll_curve import RollCurve, at_rest_deg, worst_deg
from clearance.verdict.conformance import rectangular
from clearance.verdict.result import Budget, ZoneResult

WIDE, HIGH = 640, 260
LEFT, RIGHT, TOP, BOTTOM = 52, 12, 14, 40
ROW_HIGH, BAR_HIGH, BAR_LEFT = 52, 22, 8
SEGMENTS = ("registration", "noise", "accuracy", "tolerance", "fit", "growth", "spacing")


def roll_chart(zone: ZoneResult, curve: RollCurve) -> dict[str, Any]:
    """Return a zone's roll curve in pixels of a WIDE x HIGH picture."""
    gap, bound = zone.zone.gap_mm, zone.sweep.clearance
    low, high = float(curve.edges_deg[0]), float(curve.edges_deg[-1])
    bottom = min(0.0, float(curve.lower_mm.min()), bound.lower)
    top = max(gap, float(curve.upper_mm.max()), zone.at_rest_mm.upper) * 1.06 + 0.5

    def x(deg: float) -> float:
        return round(LEFT + (deg - low) / (high - low) * (WIDE - LEFT - RIGHT), 2)

    def y(mm: float) -> float:
        return round(HIGH - BOTTOM - (mm - bottom) / (top - bottom) * (HIGH - TOP - BOTTOM), 2)

    steps = [(x(e), y(mm)) for a, b, mm in _stretches(curve) for e in (a, b)]
    above = [(x(a), y(mm)) for a, mm in zip(curve.roll_deg, curve.upper_mm, strict=True)]
    return {
        "name": zone.zone.name, "wide": WIDE, "high": HIGH, "left": LEFT, "right": WIDE - RIGHT, "foot": HIGH - BOTTOM,
        "band": _points(steps + above[::-1]), "lower": _points(steps), "upper": _points(above),
        "gap": y(gap), "gap_text": f"gap {gap:g} mm",
        "worst": (x(worst_deg(zone)), y(bound.lower)), "worst_text": f"{interval(bound)} mm",
        "worst_down": 16 if abs(y(bound.lower) + 12 - y(gap)) > 12 and y(bound.lower) < HIGH - BOTTOM - 20 else -9,
        "worst_right": worst_deg(zone) > (low + high) / 2,
        "rest": (x(at_rest_deg(curve)), y(zone.at_rest_mm.lower)),
        "x_ticks": [(x(t), f"{t:+g}" if t else "0") for t in ticks(low, high, 8)],
        "y_ticks": [(y(t), f"{t:g}") for t in ticks(bottom, top, 6)],
        "words": f"Roll {low:+g} to {high:+g} degrees. Least clearance to {zone.zone.name}: proven "
        f"{interval(bound)} mm at {worst_deg(zone):+.2f} degrees; at rest "
        f"{interval(zone.at_rest_mm)} mm; gap {gap:g} mm."
        + ("" if zone.factor == 1.0 else f" With the part grown by {100 * (zone.factor - 1):+.2f} %."),
    }  # fmt: skip


def budget_chart(zones: Sequence[ZoneResult]) -> dict[str, Any]:
    """Return each zone's guard as a stacked bar, all to one scale, with the margin that stands against it."""
    most = max(zone.budget.guard for zone in zones)
    scale = (WIDE - 2 * BAR_LEFT) / (most * 1.25 if most > 0 else 1.0)
    rows = list[dict[str, Any]]()
    for number, zone in enumerate(zones):
        left, segments = float(BAR_LEFT), list[dict[str, Any]]()
        for name, mm in guard_shares(zone.budget).items():
            if mm > 0:
                segments.append({"name": name, "left": round(left, 2), "wide": round(mm * scale, 2), "mm": f"{mm:.2f}"})
            left += mm * scale
        margin = zone.margin_mm * scale
        rows.append({
            "name": zone.zone.name, "top": number * ROW_HIGH + 20, "segments": segments,
            "end": round(left, 2), "guard": at_most(zone.budget.guard), "margin_text": at_least(zone.margin_mm),
            "margin": round(BAR_LEFT + margin, 2) if 0 <= margin <= WIDE - 2 * BAR_LEFT else None,
        })  # fmt: skip
    used = [name for name in SEGMENTS if any(s["name"] == name for row in rows for s in row["segments"])]
    return {"wide": WIDE, "high": ROW_HIGH * len(rows) + 6, "bar": BAR_HIGH, "rows": rows, "used": used}


def guard_shares(budget: Budget) -> dict[str, float]:
    """Return how the guard is made up, mm: spacing in full, the rest shared by each component's variance."""
    sigma = {name: float(getattr(budget, name)) for name in SEGMENTS if name != "spacing"}
    sigma["tolerance"] = rectangular(budget.tolerance)
    whole = sum(s * s for s in sigma.values())
    rest = max(budget.guard - budget.spacing, 0.0)
    shares = {name: rest * s * s / whole if whole > 0 else 0.0 for name, s in sigma.items()}
    return {**shares, "spacing": budget.spacing}


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return at most `most` + 1 round numbers from `low` to `high`."""
    rough = max((high - low) / most, 1e-9)
    power = 10.0 ** np.floor(np.log10(rough))
    step = next(power * m for m in (1, 2, 5, 10) if power * m >= rough * (1 - 1e-9))
    first = np.ceil(low / step - 1e-9)
    return [round(float(n * step), 9) + 0.0 for n in np.arange(first, high / step + 1e-9)]


def _stretches(curve: RollCurve) -> list[tuple[float, float, float]]:
    edges: Array = curve.edges_deg
    return [(float(a), float(b), float(mm)) for a, b, mm in zip(edges, edges[1:], curve.lower_mm, strict=False)]


def _points(places: Sequence[tuple[float, float]]) -> str:
    return " ".join(f"{x:g},{y:g}" for x, y in places)
