"""Seating a flange on two studs and an edge: closed forms, scatter over seeded scans, slips, and what is left free."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation
from scipy.stats import chi2

from clearance.errors import InputError
from clearance.frames import rigid
from clearance.job.datum import Datum, DatumPair
from clearance.registration.datum_fit import fit_datum
from clearance.registration.datum_part import part_datums
from clearance.registration.datum_rows import Seat, linearised
from clearance.registration.datums import _settled, from_datums
from clearance.scene.mesh import Mesh

JOB = Path("job.toml")
STUDS = np.array([[-60.0, 10, 0], [60, 10, 0]])
EDGE = np.array([[-80.0, -50, 0], [80, -50, 0]])
TRUE = rigid("bay", "part", Rotation.from_euler("xyz", [20, -35, 110], degrees=True).as_matrix(), (500, -200, 900))


@pytest.fixture(scope="module")
def flange() -> Mesh:
    """A plate 160 x 100 x 12 mm whose seating face is z = 0 and looks along -z."""
    box = trimesh.creation.box((160, 100, 12), transform=trimesh.transformations.translation_matrix((0, 0, 6)))
    return Mesh(np.asarray(box.vertices, np.float64), np.asarray(box.faces, np.int64))


def _scan(noise: float, seed: int, strays: float = 0.0) -> np.ndarray:
    """The block the flange sits on, in the bay: a face, and two studs of 10 mm seen over 200 degrees."""
    rng = np.random.default_rng(seed)
    flat = np.column_stack([rng.uniform(-100, 100, 9000), rng.uniform(-70, 70, 9000), rng.normal(0, noise, 9000)])
    clear = np.min([np.linalg.norm(flat[:, :2] - stud[:2], axis=1) for stud in STUDS], axis=0) > 5
    pieces = [flat[clear]]
    for stud in STUDS:
        turn, radius = rng.uniform(0, np.radians(200), 900), 5 + rng.normal(0, noise, 900)
        side = np.column_stack([radius * np.cos(turn), radius * np.sin(turn), rng.uniform(0, 30, 900)])
        pieces.append(stud + side)
    points = np.vstack(pieces)
    moved = rng.random(len(points)) < strays
    points[moved] += rng.uniform(-6, 6, (int(moved.sum()), 3))
    return TRUE.apply(points)


def _v(array) -> list[float]:
    return [float(x) for x in array]


def _datums(off: float = 0.0, seed: int = 0) -> tuple[Datum, ...]:
    """Datums of both sides; those in the bay are stated `off` mm (1 sigma) from the truth."""
    rng = np.random.default_rng(seed)
    up, out = TRUE.rotation @ (0, 0, 1), TRUE.rotation @ (0.01, 0, 1)

    def bay(point) -> list[float]:
        return _v(TRUE.apply(point) + rng.normal(0, off, 3))

    tables = [
        {"name": "flange", "on": "part", "face": {"point": (0, 0, 0), "normal": (0, 0, -1), "radius": 40}},
        {"name": "deck", "on": "bay", "face": {"point": bay((0, 0, 0)), "normal": _v(out), "radius": 40}},
        {"name": "edge", "on": "part", "edge": {"from": _v(EDGE[0]), "to": _v(EDGE[1])}},
        {"name": "lip", "on": "bay", "edge": {"from": _v(TRUE.apply(EDGE[0])), "to": _v(TRUE.apply(EDGE[1]))}},
    ]
    for name, stud in zip("ab", STUDS, strict=True):
        hole = {"center": _v(stud + np.array([0, 0, 0.6])), "axis": (0, 0, 1), "diameter": 11}
        pin = {"center": bay(stud), "axis": _v(up), "diameter": 10, "length": 30}
        tables += [
            {"name": f"hole {name}", "on": "part", "hole": hole},
            {"name": f"stud {name}", "on": "bay", "stud": pin},
        ]
    return tuple(Datum.model_validate(table) for table in tables)


def _pairs(*names: tuple[str, str]) -> tuple[DatumPair, ...]:
    return tuple(DatumPair(part=part, bay=bay) for part, bay in names)


FACE, A, B, LIP = ("flange", "deck"), ("hole a", "stud a"), ("hole b", "stud b"), ("edge", "lip")
ALL = _pairs(FACE, A, B, LIP)


def _edited(datums: tuple[Datum, ...], name: str, **feature) -> tuple[Datum, ...]:
    """Return the datums with keys of one's feature changed."""
    tree = {datum.name: datum.model_dump(by_alias=True, exclude_none=True) for datum in datums}
    kind = next(k for k in ("face", "hole", "stud", "edge") if k in tree[name])
    tree[name][kind].update(feature)
    return tuple(Datum.model_validate(table) for table in tree.values())


@pytest.mark.parametrize("pairs", [ALL, _pairs(FACE, A, B), _pairs(FACE, A, LIP)], ids=["all", "studs", "one stud"])
def test_an_exact_scan_gives_the_pose_back(flange, pairs):
    placed = from_datums(pairs, _datums(0.5), flange, _scan(0.0, 0), (0.0, 0.0), JOB)
    off = placed.T_bay_part.apply(flange.vertices) - TRUE.apply(flange.vertices)
    # What is left is where least squares stops: 1e-6 mm on the studs' axes, some times that at the corners.
    assert np.abs(off).max() < 1e-4
    assert placed.converged
    assert placed.method == "datums"
    assert max(mm for _, mm in placed.residuals) < 1e-4
    assert [name for name, _ in placed.residuals] == [f"'{pair.part}' on '{pair.bay}'" for pair in pairs]


@pytest.mark.parametrize("strays", [0.0, 0.05])
def test_scatter_over_scans_is_within_what_is_stated(flange, strays):
    """0.2 mm noise, with 5 % of points strewn up to 6 mm: the pose is off by less than its covariance says."""
    squares, draws = [], 12
    for seed in range(draws):
        placed = from_datums(ALL, _datums(0.5, seed), flange, _scan(0.2, seed, strays), (0.0, 0.2), JOB)
        assert placed.converged, placed.notes
        move = placed.T_bay_part.matrix @ np.linalg.inv(TRUE.matrix)
        turn = Rotation.from_matrix(move[:3, :3]).as_rotvec()
        shift = move[:3, :3] @ placed.centre + move[:3, 3] - placed.centre
        error = np.concatenate([turn, shift])
        squares.append(float(error @ np.linalg.solve(placed.covariance, error)))
        corners = placed.T_bay_part.apply(flange.vertices) - TRUE.apply(flange.vertices)
        # A stud of 30 mm is found to 0.1 mm at 180 degrees and 0.3 mm noise (trial): so are the corners, at most.
        assert np.linalg.norm(corners, axis=1).max() < 0.2
        # Nor is it so wide as to be of no use: the middle is known better than a single point of the scan.
        assert placed.largest_sigma_mm(placed.centre[None])[0] < 0.2
    # Six freedoms a draw; one chance in a thousand to fail if the covariance is right.
    assert sum(squares) < chi2.ppf(0.999, 6 * draws)


def test_covariance_against_scatter_of_the_bays_datums(flange):
    """Bay datums redrawn from their own covariance: the pose scatters as stated."""
    datums = _datums()
    placed = from_datums(ALL, datums, flange, _scan(0.2, 3), (0.0, 0.2), JOB)
    by_name = {d.name: d for d in datums}
    part = part_datums([by_name[p.part] for p in ALL], flange, JOB)
    bay = [fit_datum(by_name[p.bay], _scan(0.2, 3), 0.2, JOB) for p in ALL]
    rng, motions = np.random.default_rng(1), []
    for _ in range(600):
        drawn = []
        for datum in bay:
            root = np.linalg.svd(datum.covariance)
            error = root[0] @ (np.sqrt(root[1]) * rng.normal(size=6))
            direction = datum.direction + error[3:]
            drawn.append(replace(datum, place=datum.place + error[:3], direction=direction / np.linalg.norm(direction)))
        seats = [Seat(p, b) for p, b in zip(part, drawn, strict=True)]
        pose = _settled(placed.T_bay_part, seats, placed.centre)[0]
        move = pose.matrix @ np.linalg.inv(placed.T_bay_part.matrix)
        turn = Rotation.from_matrix(move[:3, :3]).as_rotvec()
        motions.append(np.concatenate([turn, move[:3, :3] @ placed.centre + move[:3, 3] - placed.centre]))
    root = np.linalg.inv(np.linalg.cholesky(placed.covariance))
    spread = np.linalg.eigvalsh(root @ np.cov(np.array(motions).T) @ root.T)
    # Eigenvalues of a covariance from 600 draws scatter by about 2 sqrt(6 / 600) = 0.2.
    np.testing.assert_allclose(spread, 1, atol=0.3)


@pytest.mark.parametrize("seed", range(3))
def test_derivatives_against_differences(flange, seed):
    rng = np.random.default_rng(seed)
    datums = {d.name: d for d in _datums(0.3, seed)}
    scan = _scan(0.2, seed)
    seats = [
        Seat(p, fit_datum(datums[pair.bay], scan, 0.2, JOB))
        for p, pair in zip(part_datums([datums[pair.part] for pair in ALL], flange, JOB), ALL, strict=True)
    ]
    centre = TRUE.apply((0, 0, 0))
    fit = linearised(TRUE, seats, centre)
    step = rng.normal(0, 1, 6) * 1e-5
    turn = Rotation.from_rotvec(step[:3]).as_matrix()
    moved = rigid("bay", "bay", turn, centre + step[3:] - turn @ centre) @ TRUE
    change = linearised(moved, seats, centre).residuals - fit.residuals
    # Second order: 1e-5 rad squared at 100 mm.
    np.testing.assert_allclose(change, fit.rows @ step, atol=1e-7)


@pytest.mark.parametrize("number", range(4))
def test_derivatives_by_the_bays_datums_against_differences(flange, number):
    """One bay datum at a time is unsure, place and direction together; the part floats 5 mm over its seat."""
    datums = {d.name: d for d in _datums()}
    part = part_datums([datums[pair.part] for pair in ALL], flange, JOB)
    bay = [fit_datum(datums[pair.bay], _scan(0.0, 0), 0.2, JOB) for pair in ALL]
    pose = rigid("bay", "bay", np.eye(3), 5 * TRUE.rotation[:, 2]) @ TRUE
    centre, step = TRUE.apply((0, 0, 0)), 1e-5
    datum = bay[number]
    square = np.eye(3) - np.outer(datum.direction, datum.direction)
    root = np.random.default_rng(number).normal(0, 1, (6, 6)) / ([[1.0]] * 3 + [[50.0]] * 3)
    root[3:] = square @ root[3:]

    def residuals(way: np.ndarray) -> np.ndarray:
        direction = datum.direction + way[3:]
        moved = replace(datum, place=datum.place + way[:3], direction=direction / np.linalg.norm(direction))
        there = [*bay[:number], moved, *bay[number + 1 :]]
        return linearised(pose, [Seat(p, b) for p, b in zip(part, there, strict=True)], centre).residuals

    changes = np.array([(residuals(step * way) - residuals(-step * way)) / (2 * step) for way in root.T])
    unsure = [replace(b, covariance=root @ root.T if n == number else np.zeros((6, 6))) for n, b in enumerate(bay)]
    stated = linearised(pose, [Seat(p, b) for p, b in zip(part, unsure, strict=True)], centre).covariance
    # Central differences; the two ways across a stud turn with its axis, which moves nothing at residual 0.
    np.testing.assert_allclose(stated, changes.T @ changes, atol=1e-4)


def test_a_slanted_hole_is_taken_where_it_crosses_the_face(flange):
    """Axis 20 degrees off the normal, centre stated 0.9 mm up along it: it crosses z = 0 at (10, 5)."""
    axis = np.array([np.sin(np.radians(20)), 0, np.cos(np.radians(20))])
    tables = [
        {"name": "f", "on": "part", "face": {"point": (0, 0, 0), "normal": (0, 0, -1), "radius": 40}},
        {"name": "h", "on": "part", "hole": {"center": _v((10, 5, 0) + 0.9 * axis), "axis": _v(axis), "diameter": 0.2}},
    ]
    _, hole = part_datums([Datum.model_validate(table) for table in tables], flange, JOB)
    np.testing.assert_allclose(hole.points, [(10, 5, 0)], atol=1e-12)


def _corner(noise: float, seed: int) -> np.ndarray:
    """Three plates at right angles that the flange is pushed into: under, before and beside it."""
    rng = np.random.default_rng(seed)
    deck = np.column_stack([rng.uniform(-80, 80, 6000), rng.uniform(-50, 50, 6000), rng.normal(0, 1, 6000) * noise])
    fence = np.column_stack(
        [rng.uniform(-80, 80, 3000), -50 + rng.normal(0, 1, 3000) * noise, rng.uniform(0, 40, 3000)]
    )
    stop = np.column_stack([-80 + rng.normal(0, 1, 3000) * noise, rng.uniform(-50, 50, 3000), rng.uniform(0, 40, 3000)])
    return TRUE.apply(np.vstack([deck, fence, stop]))


@pytest.mark.parametrize(("noise", "off_mm"), [(0.0, 1e-6), (0.1, 0.2)])
def test_three_faces_of_a_corner(flange, noise, off_mm):
    """Pushed into a corner the flange is held without any hole: 3 + 2 + 1, and three turns held twice."""
    sides = {
        "deck": ((0, 0, 0), (0, 0, 1), 40),
        "fence": ((0, -50, 6), (0, 1, 0), 5),
        "stop": ((-80, 0, 6), (1, 0, 0), 5),
    }
    tables = []
    for name, (point, out, radius) in sides.items():
        part = {"point": point, "normal": _v(-np.array(out)), "radius": radius}
        wide = {"point": _v(TRUE.apply(point)), "normal": _v(TRUE.rotation @ out), "radius": max(radius, 14)}
        tables += [{"name": f"my {name}", "on": "part", "face": part}, {"name": name, "on": "bay", "face": wide}]
    pairs = _pairs(*((f"my {name}", name) for name in sides))
    datums = tuple(Datum.model_validate(table) for table in tables)
    placed = from_datums(pairs, datums, flange, _corner(noise, 1), (0.0, noise), JOB)
    assert placed.converged, placed.notes
    # Turn about z from two discs of 14 mm with 360 points: 0.1 * 2 / 14 / sqrt(360) / sqrt(2) rad = 0.53 mrad,
    # 0.05 mm at the far corner; 0.2 mm is four sigmas.
    assert np.abs(placed.T_bay_part.apply(flange.vertices) - TRUE.apply(flange.vertices)).max() < off_mm


def test_two_faces_leave_a_slide(flange):
    point, out = (0, -50, 6), np.array([0, 1, 0])
    tables = [
        {"name": "side", "on": "part", "face": {"point": point, "normal": _v(-out), "radius": 5}},
        {"name": "fence", "on": "bay",
         "face": {"point": _v(TRUE.apply(point)), "normal": _v(TRUE.rotation @ out), "radius": 14}},
    ]  # fmt: skip
    datums = (*_datums(), *(Datum.model_validate(table) for table in tables))
    with pytest.raises(InputError) as refused:
        from_datums(_pairs(FACE, ("side", "fence")), datums, flange, _corner(0.0, 0), (0.0, 0.0), JOB)
    way = np.array([float(x) for x in refused.value.found.split("[")[1].rstrip("]").split(",")])
    assert refused.value.found.startswith("the part is still free to slide along")
    # Words are rounded to 0.01.
    assert abs(way @ TRUE.rotation @ (1, 0, 0)) == pytest.approx(1, abs=0.02)


def test_studs_that_nothing_tells_apart_are_noted(flange):
    scan, datums = _scan(0.2, 0), _datums()
    with_edge, without = (from_datums(p, datums, flange, scan, (0.0, 0.2), JOB) for p in (ALL, _pairs(FACE, A, B)))
    assert with_edge.converged
    assert without.converged
    assert not [note for note in with_edge.notes if "swapped" in note]
    assert "'stud a' and 'stud b' would fit as well if swapped" in without.notes[-1]


@pytest.mark.parametrize(
    ("pairs", "free", "advice"),
    [
        (_pairs(FACE), "free to turn about .* and to slide along .* and to slide along", "add a hole or stud, and"),
        (_pairs(FACE, A), r"free to turn about \[.*\] through \[.*\]$", "second hole or stud"),
        (_pairs(FACE, LIP), r"free to slide along \[.*\]$", "add a hole or stud, or an edge"),
    ],
    ids=["face", "face and stud", "face and edge"],
)
def test_what_is_left_free_is_said_in_words(flange, pairs, free, advice):
    with pytest.raises(InputError) as refused:
        from_datums(pairs, _datums(), flange, _scan(0.1, 0), (0.0, 0.1), JOB)
    assert refused.value.key == "register.set"
    assert re.search(free, refused.value.found), refused.value.found
    assert advice in refused.value.wanted


def test_the_free_turn_is_about_the_stud(flange):
    with pytest.raises(InputError) as refused:
        from_datums(_pairs(FACE, A), _datums(), flange, _scan(0.0, 0), (0.0, 0.0), JOB)
    axis, through = (
        np.array([float(x) for x in text.split("]")[0].split(",")]) for text in refused.value.found.split("[")[1:3]
    )
    up = TRUE.rotation @ (0, 0, 1)
    assert abs(axis @ up) == pytest.approx(1, abs=0.01)
    # The line passes the stud; the words are rounded to 1 mm.
    assert np.linalg.norm(np.cross(through - TRUE.apply(STUDS[0]), up)) < 1.5


def test_swapped_studs_are_named(flange):
    swapped = _pairs(FACE, ("hole a", "stud b"), ("hole b", "stud a"), LIP)
    placed = from_datums(swapped, _datums(), flange, _scan(0.2, 0), (0.0, 0.2), JOB)
    assert not placed.converged
    assert placed.notes[-1].startswith("'stud b' and 'stud a' look swapped")


def test_a_datum_that_disagrees_is_named(flange):
    """The edge picked 6 mm off across: 12 sigma of what a stated edge is trusted to."""
    off = TRUE.apply(EDGE + np.array([0, 6, 0]))
    datums = _edited(_datums(), "lip", **{"from": _v(off[0]), "to": _v(off[1])})
    placed = from_datums(ALL, datums, flange, _scan(0.2, 0), (0.0, 0.2), JOB)
    assert not placed.converged
    assert placed.notes[-1].startswith("'edge' on 'lip'")
    assert dict(placed.residuals)["'edge' on 'lip'"] > 4


def test_holes_a_wrong_distance_apart_do_not_pass(flange):
    """A pitch 2 mm longer than the studs': no pair alone is to blame, but it must not pass."""
    datums = _edited(_datums(), "hole b", center=(62, 10, 0))
    placed = from_datums(ALL, datums, flange, _scan(0.2, 0), (0.0, 0.2), JOB)
    assert not placed.converged
    assert "'hole b' on 'stud b'" in placed.notes[-1]


def test_accuracy_is_added_as_a_shift(flange):
    sharp, dull = (
        from_datums(ALL, _datums(), flange, _scan(0.2, 0), (accuracy, 0.2), JOB).covariance for accuracy in (0.0, 0.3)
    )
    np.testing.assert_allclose(dull - sharp, np.diag([0, 0, 0, 0.09, 0.09, 0.09]), atol=1e-12)


@pytest.mark.parametrize(
    ("name", "feature", "telling"),
    [
        ("flange", {"point": (0, 0, -3)}, "3.0 mm off the part's surface"),
        ("flange", {"normal": (0, 0.2, -1)}, "11 degrees from the part's surface"),
        ("flange", {"normal": (0, 0, 1)}, "180 degrees"),
        ("hole a", {"center": (-60, 10, 4)}, "its rim lies 4.0 mm off"),
        ("hole a", {"center": (-79, 10, 0), "diameter": 20}, "its rim lies 9.0 mm off"),
        ("edge", {"to": (80, -50, -9)}, "its line lies 9.0 mm off"),
    ],
)
def test_part_datums_lie_on_the_part(flange, name, feature, telling):
    datums = _edited(_datums(), name, **feature)
    chosen = [datum for datum in datums if datum.on == "part"]
    with pytest.raises(InputError, match=telling) as refused:
        part_datums(chosen, flange, JOB)
    assert refused.value.key.startswith(f"datum '{name}'")
