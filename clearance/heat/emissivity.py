"""Emissivities of surfaces in and about an exhaust, by name, with their sources. Total, hemispherical or normal.

"From memory": recalled, not looked up. Where a source gives a range, the end that heats more is taken: the
highest for what is hot or receives, and for a sheet's bare metal what it comes to after some use.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from clearance.heat.named import named


@dataclass(frozen=True, kw_only=True)
class Surface:
    """A kind of surface and its emissivity."""

    name: str
    emissivity: float
    source: str


SURFACES: tuple[Surface, ...] = (
    Surface(name="stainless after repeated heating", emissivity=0.70,
            source="0.5 to 0.7 at 230 to 900 °C, lecture tables, EPFL"),
    Surface(name="stainless heavily oxidised", emissivity=0.76,
            source="0.67 to 0.76 at 800 to 1200 K, Incropera table A.11, from memory"),
    Surface(name="nickel alloy oxidised", emissivity=0.95,
            source="0.6 to 0.95, pyrometer handbook, a band of 4 to 14 µm, not total"),
    Surface(name="cast iron oxidised", emissivity=0.78, source="0.64 to 0.78 at 200 to 600 °C, thermography manual"),
    Surface(name="ceramic coating", emissivity=0.90, source="0.6 to 0.9, from memory"),
    Surface(name="aluminium polished", emissivity=0.06, source="0.04 to 0.06, engineering tables"),
    Surface(name="aluminium oxidised", emissivity=0.33, source="heavily oxidised 0.20 to 0.33, engineering tables"),
    Surface(name="aluminium anodised", emissivity=0.84, source="engineering tables"),
    Surface(name="stainless lightly oxidised", emissivity=0.40,
            source="0.33 to 0.40 at 800 to 1000 K, Incropera table A.11, from memory"),
    Surface(name="paint", emissivity=0.97, source="0.80 to 0.97 by colour, engineering tables"),
)  # fmt: skip


def emissivity_of(value: float | str, job_file: str | Path, key: str) -> tuple[float, str]:
    """Return the emissivity that a job's number or name of a surface means, and where it is from.

    Raises
    ------
    InputError
        For an unknown name: the nearest known one, or all of them.
    """
    if not isinstance(value, str):
        return float(value), "from the job"
    found = named(value, SURFACES, "surface", job_file, key)
    return found.emissivity, f"{found.name}: {found.source}"
