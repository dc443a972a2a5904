"""The materials known: numbers with their sources. "From memory": recalled, not looked up."""

from __future__ import annotations

from clearance.heat.expansion import Expansion, Material
from clearance.scene.densities import DENSITIES, Density

_DENSITY = {density.material: density for density in DENSITIES}

_AUSTENITIC_SPREAD = "304 to 100 °C: 16.0 in EN 10088-1, 17.3 in the ASM data sheet"
_EN_VALUES = ((100.0, 16.0), (200.0, 16.5), (300.0, 17.0), (400.0, 17.5), (500.0, 18.0))
_GROUP_3 = Expansion(
    source="ASME BPVC II-D (metric) table TE-1, group 3, from memory",
    reference_C=20.0,
    mean=((100.0, 16.2), (200.0, 17.0), (300.0, 17.5), (400.0, 17.9), (500.0, 18.4), (600.0, 18.8),
          (700.0, 19.1), (800.0, 19.4)),
)  # fmt: skip
_INTERMITTENT = "intermittent, 925 continuous; SSINA high-temperature guide"

MATERIALS: tuple[Material, ...] = (
    Material(
        name="304",
        also=("304L", "1.4301", "1.4307", "S30400", "S30403", "X5CrNi18-10", "SUS304"),
        density=_DENSITY["stainless 304"],
        expansions=(
            Expansion(source="EN 10088-1 (1.4301)", reference_C=20.0, mean=_EN_VALUES),
            Expansion(
                source="ASM data sheet, AISI type 304",
                reference_C=0.0,
                mean=((100.0, 17.3), (315.0, 17.8), (538.0, 18.4), (650.0, 18.7)),
            ),
            _GROUP_3,
        ),
        spread=0.08,
        spread_from=_AUSTENITIC_SPREAD,
        service_C=870.0,
        service_from=_INTERMITTENT,
    ),
    Material(
        name="316L",
        also=("316", "1.4401", "1.4404", "S31600", "S31603", "X2CrNiMo17-12-2", "SUS316", "SUS316L"),
        density=_DENSITY["stainless 316L"],
        expansions=(
            Expansion(
                source="EN 10088-1 (1.4401, 1.4404); above 100 °C from memory", reference_C=20.0, mean=_EN_VALUES
            ),
            Expansion(
                source="producers' data sheets, types 316 and 316L",
                reference_C=20.0,
                mean=((100.0, 16.5), (500.0, 18.2), (1000.0, 19.5)),
            ),
        ),
        spread=0.08,
        spread_from=f"{_AUSTENITIC_SPREAD}; 316 to 315 °C: 16.2 and 17.4 in data sheets",
        service_C=870.0,
        service_from=_INTERMITTENT,
    ),
    Material(
        name="321",
        also=("321H", "1.4541", "1.4878", "S32100", "S32109", "X6CrNiTi18-10", "SUS321"),
        density=Density("stainless 321", 8.03, "producer's data sheet, type 321"),
        expansions=(
            Expansion(source="EN 10088-1 (1.4541), from memory", reference_C=20.0, mean=_EN_VALUES),
            Expansion(
                source="producer's data sheet, type 321",
                reference_C=0.0,
                mean=((100.0, 16.6), (315.0, 17.2), (538.0, 18.6)),
            ),
            _GROUP_3,
        ),
        spread=0.08,
        spread_from=_AUSTENITIC_SPREAD,
        service_C=850.0,
        service_from="EN 10095 for 1.4878, from memory; ASM gives 870 intermittent, from memory",
    ),
    Material(
        name="309",
        also=("309S", "1.4828", "1.4833", "S30900", "S30908", "SUS309S"),
        density=Density("stainless 309", 8.0, "handbook value, from memory"),
        expansions=(
            Expansion(
                source="ASM data sheet, AISI type 309, from memory",
                reference_C=0.0,
                mean=((100.0, 15.0), (315.0, 16.6), (538.0, 17.2), (649.0, 18.0)),
            ),
        ),
        spread=0.08,
        spread_from="309S to 100 °C: 14.4 to 16.0 in suppliers' data",
        service_C=980.0,
        service_from="intermittent, ASM, from memory; 1093 continuous in the SSINA high-temperature guide",
    ),
    Material(
        name="alloy 625",
        also=("625", "N06625", "2.4856", "NiCr22Mo9Nb"),
        density=_DENSITY["alloy 625"],
        expansions=(
            Expansion(
                source="producer's bulletin for UNS N06625; above 93 °C from memory",
                reference_C=21.1,
                mean=((93.3, 12.8), (204.4, 13.1), (315.6, 13.3), (426.7, 13.7), (537.8, 14.0), (648.9, 14.8),
                      (760.0, 15.3), (871.1, 15.8)),
            ),
        ),
        spread=0.08,
        spread_from="to 316 °C: 13.3 in the bulletin, 14.2 in a pipe-expansion table",
        service_C=982.0,
        service_from="producer's bulletin (1800 °F)",
    ),
    Material(
        name="alloy 718",
        also=("718", "N07718", "2.4668", "NiCr19Fe19Nb5Mo3"),
        density=_DENSITY["alloy 718"],
        expansions=(
            Expansion(
                source="producer's data page for UNS N07718",
                reference_C=25.0,
                mean=((93.0, 12.8), (204.0, 13.5), (316.0, 13.9), (427.0, 14.2), (538.0, 14.4), (649.0, 15.1),
                      (760.0, 16.0)),
            ),
        ),
        spread=0.05,
        spread_from="bulletins differ by 3 %; 5 % is the least found for other alloys",
        service_C=704.0,
        service_from="strength, producer's text (1300 °F)",
    ),
    Material(
        name="Ti-6Al-4V",
        also=("Ti64", "Ti6Al4V ELI", "titanium grade 5", "grade 5 titanium", "grade 23 titanium", "R56400",
              "R56401", "R56407", "3.7165"),
        density=_DENSITY["Ti-6Al-4V"],
        expansions=(
            Expansion(
                source="producer's data sheet, Ti-6Al-4V ELI",
                reference_C=20.0,
                mean=((100.0, 8.6), (315.0, 9.2), (650.0, 9.7)),
            ),
        ),
        spread=0.05,
        spread_from="to 100 °C: 8.6 and 9.0 in two producers' data sheets",
        service_C=427.0,
        service_from="supplier's data sheet (800 °F)",
    ),
    Material(
        name="low-carbon steel",
        also=("mild steel", "carbon steel", "S235JR", "S355", "1010", "1018", "1020", "1.0038", "DC01", "A36"),
        density=_DENSITY["low-carbon steel"],
        expansions=(
            Expansion(
                source="ASME BPVC II-D (2001, 2010) table TE-1, group 1, per °F times 1.8",
                reference_C=21.1,
                mean=((93.3, 12.06), (204.4, 12.78), (315.6, 13.32), (426.7, 14.04), (537.8, 14.58), (648.9, 14.94)),
            ),
        ),
        spread=0.05,
        spread_from="to 100 °C: 12.1 in ASME, 11.5 to 12.2 for plain carbon grades in handbooks",
        service_C=480.0,
        service_from="common practice, from memory",
    ),
    Material(
        name="ductile iron",
        also=("nodular iron", "spheroidal graphite iron", "SG iron", "EN-GJS-400-15", "EN-GJS-400-18", "GGG40",
              "60-40-18", "F32800"),
        density=_DENSITY["ductile iron"],
        expansions=(
            Expansion(
                source="Iron Castings Handbook, ferritic ductile iron, from memory",
                reference_C=20.0,
                mean=((100.0, 11.5), (200.0, 11.8), (400.0, 12.6), (600.0, 13.5), (700.0, 13.8)),
            ),
        ),
        spread=0.10,
        spread_from="near room temperature: 10.6 and 11.2 by grade in Callister, appendix B, 11.5 here",
        service_C=650.0,
        service_from="common practice, from memory",
    ),
    Material(
        name="AlSi10Mg",
        also=("EN AC-43000", "A04430", "AlSi10Mg(a)"),
        density=_DENSITY["AlSi10Mg"],
        expansions=(
            Expansion(source="powder producer's data sheet", reference_C=20.0, mean=((100.0, 20.9),)),
            Expansion(
                source="powder producers' data sheets, middle of range, from memory",
                reference_C=20.0,
                mean=((100.0, 20.5), (300.0, 21.5)),
            ),
        ),
        spread=0.06,
        spread_from="20 to 22 in powder producers' data sheets",
        service_C=200.0,
        service_from="common practice, from memory",
    ),
    Material(
        name="aluminium 6061",
        also=("6061", "6061-T6", "aluminum 6061", "A96061", "3.3211", "AlMg1SiCu"),
        density=Density("aluminium 6061", 2.70, "Callister, appendix B, from memory"),
        expansions=(
            Expansion(
                source="pipe-expansion table (B31 family), aluminium",
                reference_C=21.1,
                mean=((204.4, 24.50), (315.6, 25.56)),
            ),
        ),
        spread=0.05,
        spread_from="23.6 near room temperature in Callister, appendix B, 24.5 to 204 °C here",
        service_C=200.0,
        service_from="common practice, from memory",
    ),
)  # fmt: skip
