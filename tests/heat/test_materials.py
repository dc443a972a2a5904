"""Materials: handbook values and growths worked by hand from them, and what an unknown one is told."""

from __future__ import annotations

from itertools import combinations, pairwise

import pytest

from clearance.errors import InputError
from clearance.heat.materials import expansion_between, growth_strain, material, service_warning
from clearance.heat.materials_text import materials_text
from clearance.heat.table import MATERIALS


def of(name: str):
    return material(name, "job.toml")


@pytest.mark.parametrize(
    ("name", "from_C", "to_C", "mm_of_300"),
    [
        ("304", 20, 500, 2.592),  # EN 10088-1: 18.0 to 500 °C; 300 * 18.0e-6 * 480
        ("304", 20, 100, 0.384),  # EN 10088-1: 16.0 to 100 °C; 300 * 16.0e-6 * 80
        ("alloy 718", 25, 649, 2.8267),  # producer's data page: 15.1 from 25 to 649 °C; 300 * 15.1e-6 * 624
        ("Ti-6Al-4V", 20, 315, 0.8142),  # producer's data sheet: 9.2 from 20 to 315 °C; 300 * 9.2e-6 * 295
    ],
)
def test_growth_of_300_mm(name, from_C, to_C, mm_of_300):
    strain, _ = growth_strain(of(name), from_C, to_C)
    assert 300 * strain == pytest.approx(mm_of_300, abs=5e-5)


@pytest.mark.parametrize(
    ("name", "source", "values"),
    [
        ("304", "EN 10088-1", {100: 16.0, 200: 16.5, 300: 17.0, 400: 17.5, 500: 18.0}),
        ("304", "ASM data sheet", {100: 17.3, 315: 17.8, 650: 18.7}),  # ASM, from 0 °C
        ("304", "ASM data sheet", {538: 18.4}),  # ASM Handbook vol. 1, from memory; 10.2 per °F in a supplier's sheet
        ("316", "EN 10088-1", {100: 16.0}),
        ("321", "producer", {100: 16.6, 315: 17.2, 538: 18.6}),
        ("N06625", "producer", {93.3: 12.8}),  # Callister, appendix B
        ("N07718", "producer", {93: 12.8, 204: 13.5, 316: 13.9, 427: 14.2, 538: 14.4, 649: 15.1, 760: 16.0}),
        ("Ti64", "producer", {100: 8.6, 315: 9.2, 650: 9.7}),
    ],
)
def test_mean_coefficients_are_the_sources(name, source, values):
    found = next(e for e in of(name).expansions if source in e.source)
    assert {t: found.mean_per_K(t) for t in values} == pytest.approx(values)


def test_carbon_steel_agrees_with_the_growth_column_of_its_table():
    """ASME BPVC II-D table TE-1, group 1, column C (2001): inches per 100 ft from 70 °F, to 0.1."""
    steel = of("low-carbon steel")
    for to_F, inches in ((400, 2.8), (800, 6.8), (1000, 9.0), (1200, 11.3)):
        strain, _ = growth_strain(steel, 21.1, round((to_F - 32) / 1.8, 1))
        assert 1200 * strain == pytest.approx(inches, abs=0.051)


def test_aluminium_agrees_with_the_pipe_table():
    """Pipe-expansion table of the B31 family: 5.39 and 9.03 inches per 100 ft from 70 to 400 and 600 °F."""
    for to_C, inches in ((204.4, 5.39), (315.6, 9.03)):
        assert 1200 * growth_strain(of("6061"), 21.1, to_C)[0] == pytest.approx(inches, abs=0.006)


def test_a_mean_is_counted_from_its_reference():
    """EN 10088-1, 304 from 100 to 500 °C: 18.0e-6 * 480 - 16.0e-6 * 80, not 18.0e-6 * 400."""
    assert growth_strain(of("304"), 100, 500)[0] == pytest.approx(7.36e-3, abs=1e-12)
    assert growth_strain(of("304"), 500, 100)[0] == pytest.approx(-7.36e-3, abs=1e-12)


def test_between_values_the_mean_is_interpolated():
    """EN 10088-1, 304 to 450 °C: mean 17.75e-6; the strain is not halfway between those to 400 and 500."""
    assert growth_strain(of("304"), 20, 450)[0] == pytest.approx(17.75e-6 * 430, abs=1e-12)


def test_one_source_covers_both_temperatures():
    """304 to 600 °C: beyond EN 10088-1, so all of it from the ASM data sheet, from its 0 °C."""
    at_600 = 18.4 + 0.3 * 62 / 112
    assert growth_strain(of("304"), 20, 600)[0] == pytest.approx((at_600 * 600 - 17.3 * 20) * 1e-6, abs=1e-9)
    assert "ASM data sheet" in expansion_between(of("304"), 20, 600).source


def test_beyond_its_range_nothing_is_extrapolated():
    with pytest.raises(InputError) as told:
        growth_strain(of("Ti-6Al-4V"), 20, 700, "job.toml")
    assert str(told.value) == (
        "job.toml: heat.part_temperature: 20 to 700 °C for material 'Ti-6Al-4V'; stay within 15 to 650 °C, for which "
        "its growth is known, or name another material"
    )
    with pytest.raises(InputError):
        growth_strain(of("304"), -40, 100)


@pytest.mark.parametrize("made_of", MATERIALS, ids=lambda m: m.name)
def test_every_material_grows_with_heat_and_its_sources_differ_within_its_spread(made_of):
    for source in made_of.expansions:
        low, high = source.range_C
        strains = [source.strain_at(low + (high - low) * i / 200) for i in range(201)]
        assert all(b > a for a, b in pairwise(strains))
    for one, other in combinations(made_of.expansions, 2):
        top = min(one.range_C[1], other.range_C[1])
        for to_C in range(100, int(top) + 1, 50):
            of_one, of_other = (e.strain_at(to_C) - e.strain_at(20.0) for e in (one, other))
            assert abs(of_one / of_other - 1) <= made_of.spread + 0.005  # spreads are given to whole percents


def test_spreads_are_the_disagreements_between_sources():
    assert of("304").spread == pytest.approx(17.3 / 16.0 - 1, abs=0.002)  # ASM data sheet, EN 10088-1
    assert of("Ti-6Al-4V").spread == pytest.approx(9.0 / 8.6 - 1, abs=0.004)  # two producers' data sheets
    assert of("alloy 625").spread >= 5.02 / 1200 / 530 * 1.8e6 / 13.3 - 1  # pipe table to 600 °F, bulletin
    assert all(0.05 <= m.spread <= 0.10 for m in MATERIALS)


@pytest.mark.parametrize(
    ("name", "meant"),
    [
        ("316l", "316L"), ("1.4404", "316L"), ("n06625", "alloy 625"), ("UNS N06625", "alloy 625"), ("AISI 304", "304"),
        ("Stainless 321", "321"), ("Alloy718", "alloy 718"), ("ti-6al-4v", "Ti-6Al-4V"),
        ("Mild Steel", "low-carbon steel"),
    ],
)  # fmt: skip
def test_a_material_is_found_by_any_of_its_names(name, meant):
    assert of(name).name == meant


def test_no_name_means_two_materials():
    plain = [name.casefold().replace("-", "").replace(" ", "") for m in MATERIALS for name in m.names]
    assert len(plain) == len(set(plain))


def test_an_unknown_material_is_told_what_is_known():
    with pytest.raises(InputError) as told:
        of("unobtainium")
    line = str(told.value)
    assert line.startswith("job.toml: part.material: unknown material 'unobtainium'; known: 304, 316L")
    assert all(m.name in line for m in MATERIALS)
    with pytest.raises(InputError, match="did you mean 'alloy 718'"):
        of("nickel alloy 718 plus")
    with pytest.raises(InputError, match="did you mean '316L'"):
        of("316LN")


def test_hotter_than_the_guide_is_said():
    """SSINA high-temperature guide: 304 intermittent 870 °C."""
    assert service_warning(of("304"), 870) is None
    assert "900 °C is above the guide of 870 °C for 304" in (service_warning(of("304"), 900) or "")


def test_the_list_fits_80_columns_and_names_every_source():
    text = materials_text()
    assert max(map(len, text.splitlines())) <= 80
    flat = " ".join(text.split())
    for made_of in MATERIALS:
        assert made_of.density.source in flat
        assert all(e.source in flat for e in made_of.expansions)
        assert made_of.service_from in flat
