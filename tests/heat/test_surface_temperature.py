"""Balances of heat against the same physics solved another way (scipy's root finders on formulas written here)."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.constants import Stefan_Boltzmann as SIGMA
from scipy.constants import g
from scipy.optimize import brentq, fsolve

from clearance.heat.air import air
from clearance.heat.emitter import Seen
from clearance.heat.surface_temperature import Elements, Sheets, Surroundings, bare, cooling_coefficient, shielded

PART_K, AIR_K, LENGTH_M = 923.15, 353.15, 0.3
STILL = Surroundings(ambient_K=AIR_K)


def _elements(
    factor, *, part_e: float = 1.0, own_e: float = 1.0, gap_mm: float = 80.0, bridged_mm: float = 12.0, hot=PART_K
) -> Elements:
    f = np.atleast_1d(np.asarray(factor, dtype=float))
    power = SIGMA * hot**4
    return Elements(
        seen=Seen(factor=f, black_W_m2=f * power, own_W_m2=f * part_e * power, mirrored=f * (1 - part_e)),
        part_emissivity=part_e,
        emissivity=own_e,
        near_K=np.full(len(f), hot),
        gap_m=np.full(len(f), gap_mm / 1e3),
        bridged_m=bridged_mm / 1e3,
        upward=np.zeros(len(f)),
        length_m=LENGTH_M,
    )


def _upright_W_m2(t: float) -> float:
    """Churchill and Chu's mean over an upright plate, written out."""
    film = air((t + AIR_K) / 2)
    nu, alpha, k = float(film.viscosity), float(film.diffusivity), float(film.conductivity)
    ra = g / ((t + AIR_K) / 2) * (t - AIR_K) * LENGTH_M**3 / (nu * alpha)
    nusselt = (0.825 + 0.387 * ra ** (1 / 6) / (1 + (0.492 * alpha / nu) ** (9 / 16)) ** (8 / 27)) ** 2
    return nusselt * k / LENGTH_M * (t - AIR_K)


@pytest.mark.parametrize("factor", [0.01, 0.1, 0.5, 0.99])
def test_black_bare_upright(factor):
    """F sigma Tp⁴ + (1 - F) sigma Ta⁴ = sigma T⁴ + h (T - Ta)."""

    def net(t: float) -> float:
        return SIGMA * (factor * PART_K**4 + (1 - factor) * AIR_K**4 - t**4) - _upright_W_m2(t)

    assert bare(_elements(factor), STILL)[0] == pytest.approx(brentq(net, AIR_K + 1e-3, PART_K), abs=0.01)


def test_grey_bare_upright_with_both_mirrors():
    """The radiosities of part and neighbour as unknowns beside the temperature."""
    f, e_p, e_z = 0.4, 0.7, 0.5
    here = SIGMA * AIR_K**4

    def net(x):
        t, part, own = x[0], x[1] * 1e4, x[2] * 1e4
        on_part, on_own = f * own + (1 - f) * here, f * part + (1 - f) * here
        return [
            (e_z * (on_own - SIGMA * t**4) - _upright_W_m2(t)) / 1e3,
            (part - e_p * SIGMA * PART_K**4 - (1 - e_p) * on_part) / 1e4,
            (own - e_z * SIGMA * t**4 - (1 - e_z) * on_own) / 1e4,
        ]

    wanted = fsolve(net, [600.0, 3.0, 1.0])[0]
    assert bare(_elements(f, part_e=e_p, own_e=e_z), STILL)[0] == pytest.approx(wanted, abs=0.01)


@pytest.mark.parametrize(
    ("count", "part_e", "sheet_e", "own_e"), [(1, 1.0, 1.0, 1.0), (1, 0.7, 0.3, 0.5), (2, 0.8, 0.4, 0.6)]
)
def test_sheets_before_a_small_thing(count, part_e, sheet_e, own_e):
    """F = 0.5: part to sheet (to sheet) by radiation and Hollands' still air, then both radiosities as unknowns."""
    f, gaps, here = 0.5, (0.015, 0.006), SIGMA * AIR_K**4

    def across(hot: float, cold: float, gap: float, hot_e: float) -> float:
        film = air((hot + cold) / 2)
        ra = g / ((hot + cold) / 2) * (hot - cold) * gap**3 / float(film.viscosity * film.diffusivity)
        turned = 1 + 1.44 * max(0.0, 1 - 1708 / max(ra, 1.0)) + max(0.0, (ra / 5830) ** (1 / 3) - 1)
        radiated = SIGMA * (hot**4 - cold**4) / (1 / hot_e + 1 / sheet_e - 1)
        return radiated + turned * float(film.conductivity) / gap * (hot - cold)

    def net(x):
        temperatures, zone = [PART_K, *x[:-1]], x[-1]
        flows = [
            across(temperatures[i], temperatures[i + 1], gaps[min(i, 1)], sheet_e if i else part_e)
            for i in range(count)
        ]
        sheet, power = temperatures[-1], SIGMA * np.array([temperatures[-1] ** 4, zone**4])
        e = np.array([sheet_e, own_e])
        # J = e Eb + (1 - e) G of each, G = F J' + (1 - F) sigma Ta^4
        system = np.array([[1.0, -(1 - e[0]) * f], [-(1 - e[1]) * f, 1.0]])
        sent = np.linalg.solve(system, e * power + (1 - e) * (1 - f) * here)
        falls = f * sent[::-1] + (1 - f) * here
        flows.append(e[0] * (power[0] - falls[0]) + _upright_W_m2(sheet))
        return [*(flows[i] - flows[i + 1] for i in range(count)), e[1] * (falls[1] - power[1]) - _upright_W_m2(zone)]

    wanted = fsolve(net, np.linspace(800, 450, count + 1))
    zone, sheets = shielded(
        _elements(f, part_e=part_e, own_e=own_e),
        STILL,
        Sheets(count=count, standoff_m=gaps[0], between_m=gaps[1], emissivity=sheet_e),
    )
    assert zone[0] == pytest.approx(wanted[-1], abs=0.02)
    assert sheets[0] == pytest.approx(wanted[:-1], abs=0.02)


@pytest.mark.parametrize("past_factor", [0.0, 0.05, 0.3])
@pytest.mark.parametrize("factor", [0.1, 0.6])
def test_what_is_seen_past_a_sheet_heats_as_well(factor, past_factor):
    """A black point: F e sigma Ts⁴ + Fp sigma Tp⁴ + F (1 - e) (F sigma T⁴ + (1 - F) sigma Ta⁴) + (1 - F - Fp)
    sigma Ta⁴ = sigma T⁴ + h (T - Ta), at the sheet's temperature that comes with it.
    """
    sheets, e = Sheets(count=1, standoff_m=0.02, between_m=0.006, emissivity=0.2), 0.2
    past = Seen(
        factor=np.array([past_factor]),
        black_W_m2=np.array([past_factor * SIGMA * PART_K**4]),
        own_W_m2=np.array([past_factor * SIGMA * PART_K**4]),
        mirrored=np.zeros(1),
    )
    found, sheet = shielded(_elements(factor), STILL, sheets, past)
    plain, _ = shielded(_elements(factor), STILL, sheets)
    air_power, sheet_power = SIGMA * AIR_K**4, SIGMA * float(sheet[0, 0]) ** 4

    def net(t: float) -> float:
        thrown_back = factor * (1 - e) * (factor * SIGMA * t**4 + (1 - factor) * air_power)
        arrives = factor * e * sheet_power + past_factor * SIGMA * PART_K**4 + thrown_back
        return arrives + (1 - factor - past_factor) * air_power - SIGMA * t**4 - _upright_W_m2(t)

    assert found[0] == pytest.approx(brentq(net, AIR_K + 1e-3, PART_K), abs=0.01)
    assert (found[0] > plain[0] + 1) == (past_factor > 0)


def test_face_to_face_and_bridged_it_gets_as_hot_as_the_part():
    for part_e, own_e in product((0.3, 0.9), (0.3, 0.9)):
        found = bare(_elements(1.0, part_e=part_e, own_e=own_e, gap_mm=5.0), STILL)[0]
        assert found == pytest.approx(PART_K, abs=0.01)


def test_where_nothing_is_seen_it_is_as_warm_as_the_air():
    assert bare(_elements(0.0), STILL)[0] == pytest.approx(AIR_K, abs=0.01)
    assert shielded(_elements(0.0), STILL, _sheet(1))[0][0] == pytest.approx(AIR_K, abs=0.01)


def _sheet(count: int, emissivity: float = 0.33) -> Sheets:
    return Sheets(count=count, standoff_m=0.015, between_m=0.006, emissivity=emissivity)


def test_what_helps_helps():
    """More view heats; air in motion, a sheet, a second sheet and brighter sheets cool; nothing leaves the span."""
    factor = np.linspace(0.01, 0.99, 25)
    elements = _elements(factor, part_e=0.8, own_e=0.9)
    moving = Surroundings(ambient_K=AIR_K, speed_m_s=8.0)
    plain = bare(elements, STILL)
    assert (np.diff(plain) > 0).all()
    assert (bare(elements, moving) < plain).all()
    one, two, bright = (shielded(elements, STILL, s)[0] for s in (_sheet(1), _sheet(2), _sheet(1, 0.06)))
    assert (one < plain).all()
    assert (two < one).all()
    assert (bright < one).all()
    for found in (plain, one, two, bright):
        assert ((found >= AIR_K - 1e-6) & (found <= PART_K)).all()


def test_air_cools_a_face_that_looks_up_best_and_one_that_looks_down_least():
    up, upright, down = (cooling_coefficient(np.array([500.0]), STILL, 0.3, np.array([c]))[0] for c in (1.0, 0.0, -1.0))
    assert up > upright > down > 0


def test_hardly_warmer_than_the_air_nothing_jumps():
    """Below their ranges of Ra the coefficients fall to nothing without a step."""
    for upward in (1.0, 0.0, -1.0):
        warm = AIR_K + np.geomspace(1e-9, 10.0, 200)
        h = cooling_coefficient(warm, STILL, 0.02, np.full(200, upward))
        assert (np.diff(h) >= -1e-12).all()
        assert h[0] < 0.01
        assert (h[1:] <= h[:-1] * 1.2 + 1e-9).all()
