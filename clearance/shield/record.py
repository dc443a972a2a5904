"""Table `shield` of report.json: the study for a program to read. Lengths mm, temperatures °C, bay frame."""

from __future__ import annotations

from typing import Any

from clearance.heat.sight import RAYS, sampling_bound, sampling_words
from clearance.shield.fitted import Fitted
from clearance.shield.result import Gap, ShieldResult, ZoneHeat
from clearance.shield.text import ASSUMED, CAUTIONS
from clearance.units import degrees

FORMAT = "clearance-shield/1"


def record(result: ShieldResult) -> dict[str, Any]:
    """Return the study as plain tables."""
    heat, about = result.job.heat, result.about
    assert heat is not None
    return {
        "format": FORMAT,
        "title": result.job.title,
        "enough": result.enough,
        "heat": {
            "part_C": heat.part_temperature,
            "ambient_C": heat.ambient,
            "air_speed_m_s": heat.air_speed,
            "regions": [{"name": r.name, "temperature_C": r.temperature} for r in heat.region],
            "part_emissivity": {"value": result.part_emissivity[0], "from": result.part_emissivity[1]},
        },
        "shield": {
            "sheets": about.sheets,
            "standoff_mm": about.standoff,
            "standoff_least_mm": about.least_mm,
            "pieces_at_most": about.pieces,
            "sheet_mm": about.sheet,
            "between_mm": about.between if about.sheets > 1 else None,
            "build_mm": about.build_mm,
            "emissivity": {"value": result.sheet_emissivity[0], "from": result.sheet_emissivity[1]},
        },
        "zones": [_zone(zone) for zone in result.zones],
        "fitted": None if result.fitted is None else _fitted(result.fitted),
        "hottest_behind_blank_C": {name: dict(by) for name, by in result.behind_C.items()},
        "left_out": list(result.left_out),
        "notes": list(result.notes),
        "assumed": list(ASSUMED),
        "cautions": list(CAUTIONS),
        "view_factor_sampling": {"bound": sampling_bound(RAYS), "meaning": sampling_words(RAYS)},
        "timing_s": dict(result.timing_s),
        "versions": dict(result.versions),
    }


def _zone(zone: ZoneHeat) -> dict[str, Any]:
    return {
        "name": zone.name,
        "kind": zone.kind,
        "need": zone.need.value,
        "limit_C": zone.limit_C,
        "limit_from": zone.limit_from,
        "emissivity": {"value": zone.emissivity, "from": zone.emissivity_from},
        "hottest_bare_C": dict(zone.bare_C),
        "hottest_shielded_C": dict(zone.shielded_C),
        "hottest_mm": [float(x) for x in zone.place],
        "hottest_view_factor": zone.factor,
        "hottest_at_mm": zone.at_rest_mm,
        "needed_bare_mm": {name: _gap(gap) for name, gap in zone.bare.items()},
        "needed_shielded_mm": {name: _gap(gap) for name, gap in zone.shielded.items()},
        "set_gap_mm": zone.gap_mm,
        "set_gap_shielded_mm": zone.gap_shielded_mm,
        "shielded": zone.shielded_now,
        "clearance_mm": {"lower": zone.clearance_mm.lower, "upper": zone.clearance_mm.upper},
        "guard_mm": zone.guard_mm,
        "available_mm": zone.available_mm,
    }


def _gap(gap: Gap) -> dict[str, Any]:
    return {"gap_mm": gap.gap_mm, "tried_to_mm": gap.tried_mm, "why": gap.why}


def _fitted(shield: Fitted) -> dict[str, Any]:
    blank, pattern = shield.blank, shield.pattern
    return {
        "build_mm": shield.build_mm,
        "share_with_room": shield.share,
        "blank": {
            "area_mm2": blank.area_mm2,
            "covered_share": blank.covered_share,
            "cut_away_share": blank.lost_share,
            "fits": blank.fits,
            "not_covered_mm2": blank.bare_mm2,
            "to_part_mm": {"least": blank.to_part_mm, "most": blank.farthest_mm},
            "checks": [
                {
                    "zone": check.zone,
                    "clearance_mm": {"lower": check.clearance.lower, "upper": check.clearance.upper},
                    "required_mm": check.required_mm,
                    "guard_mm": check.guard_mm,
                    "verdict": check.verdict.value,
                    "reason": check.reason,
                }
                for check in blank.checks
            ],
        },
        "pattern": None
        if pattern is None
        else [
            {
                "name": piece.name,
                "size_mm": [float(x) for x in piece.size],
                "area_mm2": piece.area_mm2,
                "folds_deg": [degrees(fold.angle_rad) for fold in piece.folds],
                "distortion": piece.distortion,
            }
            for piece in pattern.pieces
        ],
    }
