"""Emissivities of surfaces in and about an exhaust, by name, with their sources. Total, hemispherical or normal.

"From memory": recalled, not looked up. Where a source gives a range, the end that heats more is taken: the
highest for what is hot or receives, and for a sheet's bare metal what it comes to after some use.
"""

from __future__ import annotations

from pathlib import Path

from clearance.heat.named import Known, meant

SURFACES: tuple[Known, ...] = (
    Known(name="stainless after repeated heating", value=0.70,
            source="0.5 to 0.7 at 230 to 900 °C, lecture tables, EPFL"),
    Known(name="stainless heavily oxidised", value=0.76,
            source="0.67 to 0.76 at 800 to 1200 K, Incropera table A.11, from memory"),
    Known(name="nickel alloy oxidised", value=0.95,
            source="0.6 to 0.95, pyrometer handbook, a band of 4 to 14 µm, not total"),
    Known(name="cast iron oxidised", value=0.78, source="0.64 to 0.78 at 200 to 600 °C, thermography manual"),
    Known(name="ceramic coating", value=0.90, source="0.6 to 0.9, from memory"),
    Known(name="aluminium polished", value=0.06, source="0.04 to 0.06, engineering tables"),
    Known(name="aluminium oxidised", value=0.33, source="heavily oxidised 0.20 to 0.33, engineering tables"),
    Known(name="aluminium anodised", value=0.84, source="engineering tables"),
    Known(name="stainless lightly oxidised", value=0.40,
            source="0.33 to 0.40 at 800 to 1000 K, Incropera table A.11, from memory"),
    Known(name="paint", value=0.97, source="0.80 to 0.97 by colour, engineering tables"),
)  # fmt: skip


def emissivity_of(value: float | str, job_file: str | Path, key: str) -> tuple[float, str]:
    """Return the emissivity that a job's number or name of a surface means, and where it is from. Raises InputError."""
    return meant(value, SURFACES, "surface", job_file, key)
