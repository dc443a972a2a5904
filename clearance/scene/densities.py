"""Densities of common manifold materials, for mass by material. g/cm3 near 20 °C, with the source of each."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Density:
    """A material, its density in g/cm3 and where the number is from."""

    material: str
    g_per_cm3: float
    source: str


DENSITIES = (
    Density("low-carbon steel", 7.85, "handbook value, from memory"),
    Density("stainless 304", 8.00, "ASM data sheet, AISI type 304"),
    Density("stainless 316L", 7.98, "handbook value, from memory"),
    Density("alloy 625", 8.44, "Callister, Materials Science and Engineering, appendix B"),
    Density("alloy 718", 8.22, "producer's alloy data page"),
    Density("Ti-6Al-4V", 4.43, "producer's data sheet"),
    Density("ductile iron", 7.10, "Callister, appendix B, from memory"),
    Density("AlSi10Mg", 2.67, "powder producers' data sheets, from memory"),
)


def mass_g(volume_mm3: float, density: Density) -> float:
    """Return the mass, g, of a volume, mm3 (1 g/cm3 = 0.001 g/mm3)."""
    return volume_mm3 * density.g_per_cm3 / 1000.0
