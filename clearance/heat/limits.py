"""What neighbours of an exhaust stand, by class, with sources. The job's own figure comes before any of these.

"From memory": recalled, not looked up. Where data sheets give a range, its lower end is taken.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from clearance.heat.named import named

_SHEETS = "makers' data sheets, from memory"
_CABLE = "ISO 6722-1, cable temperature classes"


@dataclass(frozen=True, kw_only=True)
class Limit:
    """A class of neighbour and the temperature, °C, that it stands for long."""

    name: str
    limit_C: float
    source: str


LIMITS: tuple[Limit, ...] = (
    *(Limit(name=f"cable class {letter}", limit_C=limit, source=_CABLE)
      for letter, limit in zip("ABCDEFGH", (85.0, 100.0, 125.0, 150.0, 175.0, 200.0, 225.0, 250.0), strict=True)),
    Limit(name="PVC wire", limit_C=85.0, source="85 to 105 °C, makers' pages"),
    Limit(name="brake hose", limit_C=120.0, source="hydraulic brake hose, SAE J1401, from memory"),
    Limit(name="brake line DOT 3", limit_C=140.0, source="wet boiling point of the fluid, FMVSS 116, from memory"),
    Limit(name="brake line DOT 4", limit_C=155.0, source="wet boiling point of the fluid, FMVSS 116, from memory"),
    Limit(name="brake line DOT 5.1", limit_C=180.0, source="wet boiling point of the fluid, FMVSS 116, from memory"),
    Limit(name="CV boot CR", limit_C=100.0, source=f"chloroprene, {_SHEETS}"),
    Limit(name="CV boot TPE", limit_C=120.0, source=f"thermoplastic elastomer, {_SHEETS}"),
    Limit(name="CV boot silicone", limit_C=180.0, source=f"180 to 200 °C, {_SHEETS}"),
    Limit(name="fuel line PA12", limit_C=100.0, source=f"100 to 125 °C, {_SHEETS}"),
    Limit(name="EPDM hose", limit_C=125.0, source=f"125 to 135 °C, {_SHEETS}"),
    Limit(name="paint", limit_C=120.0, source=f"clear coat, 120 to 150 °C, {_SHEETS}"),
    Limit(name="ABS", limit_C=80.0, source=f"80 to 90 °C, {_SHEETS}"),
    Limit(name="silicone sleeve", limit_C=200.0, source=f"200 to 260 °C, {_SHEETS}"),
    Limit(name="skin 1 s", limit_C=65.0, source="burn threshold of bare metal touched for 1 s, ISO 13732-1:2006"),
    Limit(name="skin 8 h", limit_C=43.0, source="burn threshold of bare metal touched for 8 h, ISO 13732-1:2006"),
)  # fmt: skip


def limit_of(value: float | str, job_file: str | Path, key: str) -> tuple[float, str]:
    """Return the limit, °C, that a job's number or class means, and where it is from.

    Raises
    ------
    InputError
        For an unknown class: the nearest known one, or all of them.
    """
    if not isinstance(value, str):
        return float(value), "from the job"
    found = named(value, LIMITS, "class", job_file, key)
    return found.limit_C, f"{found.name}: {found.source}"
