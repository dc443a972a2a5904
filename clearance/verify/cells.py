"""Every cell of a certificate against every piece of a zone, most of them settled many at a time."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearance.frames import Array
from clearance.verify.paths import Motion
from clearance.verify.prove import Items, Outcome, joined, middle, prove
from clearance.verify.target import Target

Index = NDArray[np.int64]

TOGETHER = 4000
"""Pieces left of single cells that are proved at once."""


def prove_cells(
    target: Target,
    path: Motion,
    pieces: Array,
    low: Array,
    high: Array,
    claims: Array,
    budget: int,
    factors: Array | None = None,
) -> Outcome:
    """Prove for every cell that all pieces stay as far from the part as it claims.

    Parameters
    ----------
    pieces : (n, c, 3) float64, mm
        Points (c = 1) or triangles (c = 3) of the zone at its neutral place.
    low, high : (k, a) float64, rad
        Cells of the motion's angles.
    claims : (k,) float64, mm, or (k, n) where every piece has its own
    budget : int
        Questions after which it gives up.
    factors : (k, 2) float64, optional
        Least and largest growth of the part in each cell; left out: 1, its size as modelled.

    Cells are taken together first: a piece far from the part over all of several cells needs no
    more work in any of them. What is left of single cells is proved in lots.
    """
    grown = np.ones((len(low), 2)) if factors is None else factors
    every = claims if claims.ndim == 2 else np.broadcast_to(claims[:, None], (len(claims), len(pieces)))
    waiting: list[tuple[Index, Index]] = [(np.arange(len(low)), np.arange(len(pieces)))]
    asked, left = 0, list[Items]()
    while waiting:
        cells, chosen = waiting.pop()
        box_low, box_high = low[cells].min(axis=0), high[cells].max(axis=0)
        span = float(grown[cells, 0].min()), float(grown[cells, 1].max())
        items = _items(path, pieces[chosen], box_low, box_high, span, every[np.ix_(cells, chosen)].max(axis=0))
        at = middle(target, path, items)
        may = np.flatnonzero(target.box_distance(at.centre, at.factor) - at.reach < items.claim)
        asked += len(may)
        distance = target.distance(at.centre[may], at.factor[may])
        near = may[distance - at.reach[may] < items.claim[may]]
        if not len(near):
            continue
        if len(cells) > 1:
            spread = np.append(at.turn[near].max(axis=0), at.growth[near].max())
            axis = int(spread.argmax())
            keys = np.column_stack([low[cells] + high[cells], grown[cells].sum(axis=1)])
            order = cells[np.argsort(keys[:, axis], kind="stable")]
            half = len(order) // 2
            waiting += [(order[:half], chosen[near]), (order[half:], chosen[near])]
            continue
        left.append(items.take(near))
        if sum(len(lot) for lot in left) >= TOGETHER:
            ended = prove(target, path, joined(left), budget - asked)
            asked, left = asked + ended.distances, []
            if ended.gave_up or ended.nearer_mm is not None:
                return replace(ended, distances=asked)
    ended = prove(target, path, joined(left), budget - asked) if left else Outcome(distances=0)
    return replace(ended, distances=asked + ended.distances)


def _items(path: Motion, pieces: Array, low: Array, high: Array, span: tuple[float, float], claim: Array) -> Items:
    n = len(pieces)
    return Items(
        pieces,
        np.broadcast_to(low, (n, len(low))),
        np.broadcast_to(high, (n, len(high))),
        np.broadcast_to(path.slide_low, (n, len(path.slide_low))),
        np.broadcast_to(path.slide_high, (n, len(path.slide_high))),
        np.full(n, span[0]),
        np.full(n, span[1]),
        claim,
    )
