"""The flat pattern of a blank: pieces that lie flat within a stated distortion, cut apart where one would not."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from clearance.frames import Array, unit_vector
from clearance.scene.mesh import IntArray, Mesh
from clearance.shield.blank import Blank
from clearance.shield.offset import edges_of, tidied, vertex_normals
from clearance.shield.plane_cut import cut_by_plane
from clearance.shield.region import LEAST_PIECE_MM2, pieces, without_islands
from clearance.shield.room import face_areas
from clearance.shield.unroll import Flat, laid_flat

DISTORTION = 0.03
"""Thin soft sheet can be dressed over a form by about this much by hand (common practice)."""

WORST = 2.0
"""No triangle of a piece may be off by more than this many times the limit, whatever its area."""

MOST_PIECES = 24
"""A blank in more pieces than this is no longer a shield to cut; what is left over then gets no pattern."""

SNAP_MM = 0.5
"""Vertices this near to a cut are moved onto it along the surface, so that no slivers arise."""

SAME_MM = 1e-6
"""Vertices of two pieces nearer than this are one place of the seam."""


@dataclass(frozen=True, eq=False, kw_only=True)
class PatternPiece:
    """One piece to cut from flat sheet, seen from outside (the side away from the part).

    Attributes
    ----------
    name : str
    flat : Flat
    joins : (name, (2,) place) of each piece that it meets at a seam, at the middle of the seam
    up : (2,) float64
        Which way the bay's up points on the sheet at the middle of the piece, unit vector; zero where
        the sheet faces up or down.
    middle : (2,) float64
        The place that `up` is of, mm.
    """

    name: str
    flat: Flat
    joins: tuple[tuple[str, Array], ...]
    up: Array
    middle: Array


@dataclass(frozen=True, eq=False, kw_only=True)
class RefusedPiece:
    """A piece without a pattern.

    `centre` (3,) bay frame, neutral pose, mm.
    """

    name: str
    centre: Array
    area_mm2: float
    why: str


@dataclass(frozen=True, eq=False, kw_only=True)
class Pattern:
    """The flat pattern of a blank.

    Attributes
    ----------
    limit : float
        No length in 99 % of a piece's area is off by a larger share when it is laid flat.
    share : float
        Share of the blank's area that has a pattern.
    standoff_mm, sheet_mm : float
    """

    pieces: tuple[PatternPiece, ...]
    refused: tuple[RefusedPiece, ...]
    limit: float
    share: float
    standoff_mm: float
    sheet_mm: float


def flat_pattern(blank: Blank, limit: float = DISTORTION, up: Array | None = None) -> Pattern:
    """Lay the sheet's middle surface flat, piece by piece; cut in two what is above the limit, the worst first.

    A piece is cut by a plane through its centroid, across or along its longer way, whichever leaves the
    halves less distorted. A doubly curved surface cannot be flattened without stretch however it is
    done: a cap of angular radius a keeps a ratio of scales of at least a / sin(a) (Milnor 1969,
    doi 10.1080/00029890.1969.12000423), so smaller pieces are the only cure.

    Parameters
    ----------
    limit : float
        Largest distortion of a piece (`Flat.distortion`); no single triangle may exceed `WORST` times that.
    up : (3,) float64, optional
        The bay's up; z by default.

    Raises
    ------
    ValueError
        The limit is not above 0, or the blank is empty.
    """
    if limit <= 0:
        raise ValueError("the limit must be above 0")
    if not len(blank.inner.faces):
        raise ValueError("an empty blank has no pattern")
    flats, refused = _cut_until_flat(blank.middle, limit)
    names = [_letters(i) for i in range(len(flats) + len(refused))]
    upward = unit_vector(np.array([0.0, 0.0, 1.0]) if up is None else up)
    seams = _seams([flat.mesh for flat in flats] + [mesh for mesh, _ in refused])
    shown = []
    for i, flat in enumerate(flats):
        middle, way = _up_on_sheet(flat, upward)
        joins = tuple((names[j], flat.places[at].mean(axis=0)) for j, at in seams[i])
        shown.append(PatternPiece(name=names[i], flat=flat, joins=joins, up=way, middle=middle))
    left = [
        RefusedPiece(name=name, centre=mesh.centroid, area_mm2=float(face_areas(mesh).sum()), why=why)
        for name, (mesh, why) in zip(names[len(flats) :], refused, strict=True)
    ]
    whole = sum(float(face_areas(flat.mesh).sum()) for flat in flats)
    return Pattern(
        pieces=tuple(shown),
        refused=tuple(left),
        limit=limit,
        share=whole / (whole + sum(piece.area_mm2 for piece in left)),
        standoff_mm=blank.standoff_mm,
        sheet_mm=blank.sheet_mm,
    )


def excess(flat: Flat, limit: float) -> float:
    """Return by what factor a flattened piece is above the limit; infinite where it folds over."""
    if flat.folded or not np.isfinite(flat.stretch).all():
        return float("inf")
    return max(flat.distortion, flat.worst_distortion / WORST) / limit


def _cut_until_flat(mesh: Mesh, limit: float) -> tuple[list[Flat], list[tuple[Mesh, str]]]:
    """Return the pieces that lie flat, from one end of the blank to the other, and the ones that do not."""
    good, waiting, refused = list[Flat](), list[Flat](), list[tuple[Mesh, str]]()
    for piece in _components(mesh):
        discs, rings = _opened_up(piece)
        waiting += discs
        refused += [(ring, "it closes upon itself, and cutting it through did not open it") for ring in rings]
    while waiting:
        waiting.sort(key=lambda flat: excess(flat, limit))
        worst = waiting.pop()
        if excess(worst, limit) <= 1.0:
            good.append(worst)
            continue
        halves = _best_halves(worst.mesh, limit)
        if halves and len(good) + len(refused) + len(waiting) + len(halves) <= MOST_PIECES:
            waiting += halves
        else:
            refused.append((worst.mesh, _why(worst, limit)))
    along = np.linalg.svd(mesh.vertices - mesh.vertices.mean(axis=0), full_matrices=False)[2][0]
    good.sort(key=lambda flat: float(flat.mesh.centroid @ along))
    return good, refused


def _opened_up(mesh: Mesh) -> tuple[list[Flat], list[Mesh]]:
    """Lay a piece flat; one without a rim, or with a handle, is cut through until every part has neither.

    Returns what lies flat, however distorted, and what could not be opened.
    """
    flats, closed, waiting = list[Flat](), list[Mesh](), [mesh]
    while waiting:
        piece = waiting.pop()
        try:
            flats.append(laid_flat(piece))
            continue
        except ValueError:
            along = np.linalg.svd(piece.vertices - piece.vertices.mean(axis=0), full_matrices=False)[2][0]
            parts = _cut(piece, along)
        if len(parts) > 1 and len(flats) + len(closed) + len(waiting) + len(parts) <= MOST_PIECES:
            waiting += parts
        else:
            closed.append(piece)
    return flats, closed


def _why(flat: Flat, limit: float) -> str:
    smaller = f"and it may not be cut smaller (at most {MOST_PIECES} pieces, none below {LEAST_PIECE_MM2:g} mm²)"
    if flat.folded:
        return f"it folds over itself when it is laid flat, {smaller}"
    return (
        f"laid flat its lengths would be off by {100 * flat.distortion:.1f} % (worst place "
        f"{100 * flat.worst_distortion:.1f} %), {100 * limit:g} % is allowed, {smaller}"
    )


def _best_halves(mesh: Mesh, limit: float) -> list[Flat]:
    """Cut across the longer or the shorter way of the piece, the better of the two; none where halves get too small."""
    normal = vertex_normals(mesh).mean(axis=0)
    away = mesh.vertices - mesh.centroid
    if np.linalg.norm(normal) > 1e-3:
        away = away - np.outer(away @ unit_vector(normal), unit_vector(normal))
    tried = []
    for axis in np.linalg.svd(away, full_matrices=False)[2][:2]:
        cut = _cut(mesh, axis)
        if len(cut) > 1 and all(float(face_areas(half).sum()) >= LEAST_PIECE_MM2 for half in cut):
            with suppress(ValueError):  # a half that meets itself in a vertex has no one rim
                tried.append([laid_flat(half) for half in cut])
    return min(tried, key=lambda halves: max(excess(half, limit) for half in halves), default=[])


def _cut(mesh: Mesh, axis: Array) -> list[Mesh]:
    """Cut by the plane through the centroid square to `axis`; both sides, in connected pieces.

    What would come off as a crumb, below the least piece, stays with the other side.
    """
    normals, away = vertex_normals(mesh), (mesh.vertices - mesh.centroid) @ axis
    along = axis - normals * (normals @ axis)[:, None]
    steep = np.einsum("ij,j->i", along, axis)
    near = (np.abs(away) < SNAP_MM) & (steep > 0.5)
    vertices = mesh.vertices.copy()
    vertices[near] -= (away / np.maximum(steep, 0.5))[near, None] * along[near]
    above, below = cut_by_plane(Mesh(vertices, mesh.faces), np.where(near, 0.0, away))
    stays = [without_islands(side, np.ones(len(side.faces), dtype=bool)) for side in (above, below)]
    sides = (
        np.concatenate([above.faces[stays[0]], below.faces[~stays[1]]]),
        np.concatenate([below.faces[stays[1]], above.faces[~stays[0]]]),
    )
    return [piece for faces in sides if len(faces) for piece in _components(Mesh(above.vertices, faces))]


def _components(mesh: Mesh) -> list[Mesh]:
    label = pieces(mesh.faces)
    return [tidied(Mesh(mesh.vertices, mesh.faces[label == k])) for k in range(int(label.max()) + 1)]


def _seams(meshes: Sequence[Mesh]) -> list[list[tuple[int, IntArray]]]:
    """For each piece, the pieces that share vertices of its rim and which of its vertices those are."""
    rims = []
    for mesh in meshes:
        edges, on_rim = edges_of(mesh.faces)
        rims.append(np.unique(edges[on_rim]))
    trees = [cKDTree(mesh.vertices[rim]) for mesh, rim in zip(meshes, rims, strict=True)]
    found = []
    for i, mesh in enumerate(meshes):
        shared = [
            (j, rims[i][np.isfinite(trees[j].query(mesh.vertices[rims[i]], distance_upper_bound=SAME_MM)[0])])
            for j in range(len(meshes))
            if j != i
        ]
        found.append([(j, np.asarray(at, dtype=np.int64)) for j, at in shared if len(at) > 2])
    return found


def _up_on_sheet(flat: Flat, up: Array) -> tuple[Array, Array]:
    """Return the middle of the flat piece, (2,) mm, and which way `up` points there, (2,) unit vector or zero."""
    corners = flat.places[flat.mesh.faces].mean(axis=1)
    face = int(np.argmin(np.linalg.norm(corners - flat.places.mean(axis=0), axis=1)))
    a, b, c = flat.mesh.triangles[face]
    shares, *_ = np.linalg.lstsq(np.stack([b - a, c - a], axis=1), up, rcond=None)
    p, q, r = flat.places[flat.mesh.faces[face]]
    way = np.stack([q - p, r - p], axis=1) @ shares
    length = float(np.linalg.norm(way))
    return corners[face], (way / length if length > 0.1 else np.zeros(2))


def _letters(number: int) -> str:
    return chr(ord("A") + number)
