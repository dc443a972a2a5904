"""worst_points.csv: the part's places with the least margin, zone by zone."""

from __future__ import annotations

import csv
import io

import numpy as np

from clearance.verdict.result import CheckResult

COUNT = 200
HEADER = ("zone", "x_mm", "y_mm", "z_mm", "clearance_mm", "gap_mm", "margin_mm")


def worst_points_csv(result: CheckResult) -> str:
    """Return the CSV text: for each zone up to `COUNT` part vertices, least margin first.

    Bay frame at the neutral pose; clearances are sampled over the motion (see the coloured meshes),
    places beyond the colour cap are left out.
    """
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(HEADER)
    placed = result.registration.T_bay_part.apply(result.part.shown.vertices)
    for zone in result.zones:
        values = zone.part_field.values_mm
        order = np.argsort(values, kind="stable")[:COUNT]
        for i in order[values[order] < zone.part_field.cap_mm]:
            numbers = (*placed[i], values[i], zone.zone.gap_mm, values[i] - zone.zone.gap_mm)
            rows.writerow((_plain(zone.zone.name), *(f"{number:.4f}" for number in numbers)))
    return text.getvalue()


def _plain(name: str) -> str:
    """Return a name that a spreadsheet takes for text, not for a formula."""
    return f"'{name}" if name.startswith(("=", "+", "-", "@")) else name
