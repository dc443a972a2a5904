"""What neighbours of an exhaust stand for long, °C, by class, with sources. The job's own figure comes first.

"From memory": recalled, not looked up. Where data sheets give a range, its lower end is taken.
"""

from __future__ import annotations

from pathlib import Path

from clearance.heat.named import Known, meant

_SHEETS = "makers' data sheets, from memory"
_CABLE = "ISO 6722-1, cable temperature classes"

LIMITS: tuple[Known, ...] = (
    *(Known(name=f"cable class {letter}", value=limit, source=_CABLE)
      for letter, limit in zip("ABCDEFGH", (85.0, 100.0, 125.0, 150.0, 175.0, 200.0, 225.0, 250.0), strict=True)),
    Known(name="PVC wire", value=85.0, source="85 to 105 °C, makers' pages"),
    Known(name="brake hose", value=120.0, source="hydraulic brake hose, SAE J1401, from memory"),
    Known(name="brake line DOT 3", value=140.0, source="wet boiling point of the fluid, FMVSS 116, from memory"),
    Known(name="brake line DOT 4", value=155.0, source="wet boiling point of the fluid, FMVSS 116, from memory"),
    Known(name="brake line DOT 5.1", value=180.0, source="wet boiling point of the fluid, FMVSS 116, from memory"),
    Known(name="CV boot CR", value=100.0, source=f"chloroprene, {_SHEETS}"),
    Known(name="CV boot TPE", value=120.0, source=f"thermoplastic elastomer, {_SHEETS}"),
    Known(name="CV boot silicone", value=180.0, source=f"180 to 200 °C, {_SHEETS}"),
    Known(name="fuel line PA12", value=100.0, source=f"100 to 125 °C, {_SHEETS}"),
    Known(name="EPDM hose", value=125.0, source=f"125 to 135 °C, {_SHEETS}"),
    Known(name="paint", value=120.0, source=f"clear coat, 120 to 150 °C, {_SHEETS}"),
    Known(name="ABS", value=80.0, source=f"80 to 90 °C, {_SHEETS}"),
    Known(name="silicone sleeve", value=200.0, source=f"200 to 260 °C, {_SHEETS}"),
    Known(name="skin 1 s", value=65.0, source="burn threshold of bare metal touched for 1 s, ISO 13732-1:2006"),
    Known(name="skin 8 h", value=43.0, source="burn threshold of bare metal touched for 8 h, ISO 13732-1:2006"),
)  # fmt: skip


def limit_of(value: float | str, job_file: str | Path, key: str) -> tuple[float, str]:
    """Return the limit, °C, that a job's number or class means, and where it is from. Raises InputError."""
    return meant(value, LIMITS, "class", job_file, key)
