"""The materials known, as text in 80 columns."""

from __future__ import annotations

from textwrap import wrap

from clearance.heat.expansion import Expansion, Material
from clearance.heat.table import MATERIALS

COLUMNS = 80


def materials_text() -> str:
    """Return the list of known materials: names, density, growth by source, spread, service guide."""
    head = _wrapped(
        "Growth: mean coefficient of linear thermal expansion from the stated reference temperature to each "
        "temperature, 1e-6 per K. Where a material has several sources the first that covers the job's "
        "temperatures is used. Values from memory were recalled, not looked up: check them before relying on them.",
        "",
    )
    return "\n".join([*head, *(line for m in MATERIALS for line in ["", *_lines(m)])])


def _lines(material: Material) -> list[str]:
    density, spread = material.density, f"{100 * material.spread:g}"
    return [
        material.name,
        *_wrapped("also: " + ", ".join(material.also), "  "),
        *_wrapped(f"density {density.g_per_cm3:.2f} g/cm³ ({density.source})", "  "),
        *(line for e in material.expansions for line in _expansion(e)),
        *_wrapped(f"known to ±{spread} % ({material.spread_from})", "  "),
        *_wrapped(f"service guide in air {material.service_C:g} °C ({material.service_from})", "  "),
    ]


def _expansion(expansion: Expansion) -> list[str]:
    values = ", ".join(f"{per_K:g} to {to_C:g} °C" for to_C, per_K in expansion.mean)
    return [
        *_wrapped(f"growth from {expansion.reference_C:g} °C: {values}", "  "),
        *_wrapped(f"({expansion.source})", "    "),
    ]


def _wrapped(text: str, indent: str) -> list[str]:
    return wrap(text, COLUMNS, initial_indent=indent, subsequent_indent=indent + "  " if indent else "",
                break_on_hyphens=False)  # fmt: skip
