"""How hot a neighbour's surface gets: a balance of heat at each of its points, bare and behind sheets. Steady state.

Assumed, each on the hot side unless said:
- the neighbour lets no heat through to its back nor along itself (adiabatic back);
- where the part is not in sight there are surroundings at ambient temperature;
- what the neighbour throws back falls on the part (or sheet) and on the surroundings in the shares in which the
  neighbour sees them, as between two like surfaces face to face; of a small neighbour this says too much;
- where the gap is so narrow that air bridges it, heat crosses the air from the part and no air cools the
  neighbour; elsewhere the neighbour is cooled by air at ambient temperature, as a plate of the zone's length. Air
  warmed by the part further upstream is not in the model: take it into `ambient`;
- a sheet stands before all that the neighbour sees of the part, at one temperature at each place; it gets heat
  from the part as a wide parallel surface and through still air, and no air flows between them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.errors import ClearanceError
from clearance.frames import Array
from clearance.heat.air import air
from clearance.heat.cavity import gap_coefficient
from clearance.heat.convection import facing_down, facing_up, forced_plate, rayleigh, reynolds, vertical_plate
from clearance.heat.emitter import Seen
from clearance.heat.radiation import black_body

LEAST_GAP_M = 1e-4
MOST_STEPS = 80
SETTLED_K = 1e-3
TILTED = 0.7071
"""Cosine between normal and up beyond which a surface counts as facing up or down: 45 degrees."""


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """Air and everything else about the part.

    Attributes
    ----------
    ambient_K : float
    speed_m_s : float
        Of the air along the surfaces; 0: it moves by its own buoyancy alone.
    """

    ambient_K: float
    speed_m_s: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Sheets:
    """A heat shield: one sheet or more between part and neighbour.

    Attributes
    ----------
    count : int
    standoff_m, between_m : float
        Air between part and first sheet, and from sheet to sheet.
    emissivity : float
        Of both faces of each.
    """

    count: int
    standoff_m: float
    between_m: float
    emissivity: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Elements:
    """Surface points of a neighbour.

    Attributes
    ----------
    seen : Seen
        What each sees of the part, or of the sheet before it, (n,).
    part_emissivity : float
    emissivity : float
        The neighbour's.
    near_K : (n,) float64
        Temperature of the part nearest to each.
    gap_m : (n,) float64
        Air between each and the nearest hot surface.
    bridged_m : float
        Gap below which air bridges, m.
    upward : (n,) float64
        Cosine between normal and up.
    length_m : float
        Along which air flows over the neighbour.
    """

    seen: Seen
    part_emissivity: float
    emissivity: float
    near_K: Array
    gap_m: Array
    bridged_m: float
    upward: Array
    length_m: float

    @property
    def bridged(self) -> NDArray[np.bool_]:
        """Whether air bridges the gap at each point."""
        narrow: NDArray[np.bool_] = self.gap_m < self.bridged_m
        return narrow

    def hot_K(self, around: Surroundings) -> Array:
        """Return the temperature, (n,) K, of the part that heats each point: what it sees, or air brings to it."""
        hottest: Array = np.maximum(self.seen.hot_K, np.where(self.bridged, self.near_K, around.ambient_K))
        return np.maximum(hottest, around.ambient_K)


def cooling_coefficient(surface_K: Array, around: Surroundings, length_m: float, upward: Array) -> Array:
    """Return W / (m² K) from a surface hotter than the air: the larger of natural and forced convection.

    Natural: as a vertical plate, or one that faces up or down within 45 degrees. Where a surface is so little
    warmer than the air that Ra falls below a correlation's range, its coefficient falls to zero with Ra. Flows
    that oppose each other are not in the model.

    Raises
    ------
    ValueError
        A number above the range of its correlation.
    """
    film = air((surface_K + around.ambient_K) / 2)
    ra = rayleigh(film, surface_K - around.ambient_K, length_m)
    upright = _tapered(lambda r: vertical_plate(r, film.prandtl), ra, 0.1)
    level = np.where(upward > 0, _tapered(facing_up, ra, 1e4), _tapered(facing_down, ra, 1e5))
    nusselt = np.where(np.abs(upward) > TILTED, level, upright)
    if around.speed_m_s > 0:
        nusselt = np.maximum(nusselt, forced_plate(reynolds(film, around.speed_m_s, length_m), film.prandtl))
    coefficient: Array = nusselt * film.conductivity / length_m
    return coefficient


def bare(elements: Elements, around: Surroundings) -> Array:
    """Return the temperature, (n,) K, of each point with nothing between it and the part."""

    hot, own, mirrored = elements.hot_K(around), elements.seen.own_W_m2, elements.seen.mirrored

    def net(t: Array) -> Array:
        gain, _ = _last_gap(elements, hot, t[:, 0], own, mirrored, 1.0, around)
        return gain[:, None]

    return _settled(net, hot, around, 1)[:, 0]


def shielded(elements: Elements, around: Surroundings, sheets: Sheets, past: Seen | None = None) -> tuple[Array, Array]:
    """Return the temperature, (n,) K, of each point behind `sheets`, and of the sheets before it, (n, count), K.

    `elements.seen` is of the outermost sheet's surface, `elements.gap_m` the air between it and the neighbour.
    `past` is what each point sees of the part past the sheets: it takes the place of surroundings, not of sheets.
    """
    e, hot = sheets.emissivity, elements.hot_K(around)
    straight: Array | float = 0.0
    taken: Array | float = 0.0
    if past is not None:
        straight, taken, hot = past.own_W_m2, past.factor, np.maximum(hot, past.hot_K)

    def net(t: Array) -> Array:
        chain = [hot, *t[:, :-1].T]
        flows = []
        for i in range(sheets.count):
            first = i == 0
            gap, grey = (sheets.standoff_m, elements.part_emissivity) if first else (sheets.between_m, e)
            radiated = (black_body(chain[i]) - black_body(chain[i + 1])) / (1 / grey + 1 / e - 1)
            flows.append(radiated + gap_coefficient(chain[i], chain[i + 1], gap) * (chain[i] - chain[i + 1]))
        factor = elements.seen.factor
        own, mirrored = factor * e * black_body(chain[-1]) + straight, factor * (1 - e)
        gain, lost = _last_gap(elements, chain[-1], t[:, -1], own, mirrored, e, around, taken)
        flows.append(lost)
        return np.stack([*(flows[i] - flows[i + 1] for i in range(sheets.count)), gain], axis=1)

    found = _settled(net, hot, around, sheets.count + 1)
    return found[:, -1], found[:, :-1]


def _last_gap(
    elements: Elements,
    hot_K: Array,
    neighbour_K: Array,
    own: Array,
    mirrored: Array,
    hot_e: float,
    around: Surroundings,
    taken: Array | float = 0.0,
) -> tuple[Array, Array]:
    """Heat, W/m², into each neighbour's point and out of the hot face opposite.

    The neighbour sends out J = e sigma T⁴ + (1 - e) G and gets G = own + mirrored (F J + (1 - F) sigma Ta⁴) +
    (1 - F) sigma Ta⁴; for F = 1 this is the exchange of wide parallel surfaces. `taken`: share of the neighbour's
    view in which there is something else than surroundings, whose heat is in `own`.
    """
    factor, e = np.minimum(elements.seen.factor, 1.0), elements.emissivity
    air_power, power = black_body(around.ambient_K), black_body(neighbour_K)
    open_ = (1 - factor) * air_power
    around_it = np.maximum(1 - factor - taken, 0.0) * air_power
    arrives = (own + mirrored * (factor * e * power + open_) + around_it) / (1 - mirrored * factor * (1 - e))
    sent = e * power + (1 - e) * arrives
    gain = e * (arrives - power)
    lost = hot_e * (black_body(hot_K) - factor * sent - open_)
    across = np.where(
        elements.bridged,
        gap_coefficient(hot_K, neighbour_K, np.clip(elements.gap_m, LEAST_GAP_M, elements.bridged_m))
        * (hot_K - neighbour_K),
        0.0,
    )
    cool = np.where(elements.bridged, 0.0, _cooling(neighbour_K, around, elements, elements.upward))
    cool_hot = np.where(elements.bridged, 0.0, _cooling(hot_K, around, elements, -elements.upward))
    return gain + across - cool, lost + across + cool_hot


def _cooling(surface_K: Array, around: Surroundings, elements: Elements, upward: Array) -> Array:
    coefficient = cooling_coefficient(surface_K, around, elements.length_m, upward)
    cooled: Array = coefficient * (surface_K - around.ambient_K)
    return cooled


def _settled(net: Callable[[Array], Array], hot: Array, around: Surroundings, unknowns: int) -> Array:
    """Solve net(t) = 0 for (n, unknowns) temperatures by Newton's method from the hot side, (n,) K.

    Each net flow falls with its own temperature and rises with the others', and losses are convex in them, so the
    steps come down to the solution without passing it but for rounding.
    """
    t = np.repeat(hot[:, None], unknowns, axis=1)
    for _ in range(MOST_STEPS):
        value = net(t)
        slope = np.empty((*value.shape, unknowns))
        for k in range(unknowns):
            nudged = t.copy()
            nudged[:, k] += 0.01
            slope[..., k] = (net(nudged) - value) / 0.01
        step = np.linalg.solve(slope, -value[..., None])[..., 0]
        moved = np.clip(t + step, around.ambient_K, hot[:, None])
        change = np.abs(moved - t).max(initial=0.0)
        t = moved
        if change < SETTLED_K:
            return t
    raise ClearanceError("the balance of heat did not settle")


def _tapered(correlation: Callable[[Array], Array], ra: Array, low: float) -> Array:
    return correlation(np.maximum(ra, low)) * np.minimum(ra / low, 1.0)
