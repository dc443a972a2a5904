"""Which material a job means, and how much it grows between two temperatures."""

from __future__ import annotations

import difflib
from pathlib import Path

from clearance.errors import InputError
from clearance.heat.expansion import Expansion, Material
from clearance.heat.table import MATERIALS

PREFIXES = ("aisi", "uns", "sae", "astm", "stainlesssteel", "stainless", "ss", "type")
"""What may stand before a grade."""


def material(name: str, job_file: str | Path, key: str = "part.material") -> Material:
    """Return the material of this name or alias, whatever its case, spaces and hyphens.

    Raises
    ------
    InputError
        Unknown: names the nearest known one, or all of them.
    """
    wanted = _plain(name)
    aliases = {_plain(alias): m for m in MATERIALS for alias in m.names}
    if wanted in aliases:
        return aliases[wanted]
    inside = [m for alias, m in aliases.items() if len(alias) >= 3 and alias in wanted]
    near = difflib.get_close_matches(wanted, aliases, n=1, cutoff=0.7)
    known = ", ".join(m.name for m in MATERIALS)
    nearest = inside[0] if inside else aliases[near[0]] if near else None
    meant = f"did you mean '{nearest.name}'? " if nearest else ""
    raise InputError(job_file, f"unknown material '{name}'", f"{meant}known: {known}", key)


def expansion_between(
    material: Material,
    from_C: float,
    to_C: float,
    where: str | Path = "job file",
    key: str = "heat.part_temperature",
) -> Expansion:
    """Return the preferred source that covers both temperatures, °C.

    Raises
    ------
    InputError
        No source does: nothing is extrapolated. Names the widest range there is.
    """
    found = material.expansion_over(from_C, to_C)
    if found is not None:
        return found
    low, high = max((e.range_C for e in material.expansions), key=lambda span: span[1] - span[0])
    asked = f"{from_C:g} to {to_C:g} °C" if from_C <= to_C else f"{to_C:g} to {from_C:g} °C"
    wanted = f"stay within {low:g} to {high:g} °C, for which its growth is known, or name another material"
    raise InputError(where, f"{asked} for material '{material.name}'", wanted, key)


def growth_strain(
    material: Material,
    from_C: float,
    to_C: float,
    where: str | Path = "job file",
    key: str = "heat.part_temperature",
) -> tuple[float, float]:
    """Return growth per length from `from_C` to `to_C`, and the relative half-width within which it is known.

    With e(T) = mean coefficient from the reference to T, times T less the reference: e(to) - e(from).
    Divided by the length at the reference; by the length at `from_C` it would be less by e(from) of
    itself, 1e-4 of it for each few K between `from_C` and the reference.

    Raises
    ------
    InputError
        A temperature is beyond every source's range.
    """
    source = expansion_between(material, from_C, to_C, where, key)
    return source.strain_at(to_C) - source.strain_at(from_C), material.spread


def service_warning(material: Material, hottest_C: float) -> str | None:
    """Return a line where the part is hotter than its material's service guide; None where it is not."""
    if hottest_C <= material.service_C:
        return None
    return (
        f"{hottest_C:g} °C is above the guide of {material.service_C:g} °C for {material.name} in air "
        f"({material.service_from}): its strength and scaling there are not checked here."
    )


def _plain(name: str) -> str:
    """Lower case, letters and digits only, without what may stand before a grade."""
    plain = "".join(c for c in name.casefold() if c.isalnum())
    for prefix in PREFIXES:
        rest = plain.removeprefix(prefix)
        if rest != plain and (rest[:1].isdigit() or prefix == "uns"):
            return rest
    return plain
