"""Whole reports of parts that grow, fitted shafts, faces in contact and links: they verify, and tampered they do not.

Hashes are mended after every change, so that the checks themselves must tell, in the words beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import trimesh
from report_kinds import KINDS

from clearance.verify.text import lines
from clearance.verify.verify import verify

Tree = dict[str, Any]
Change = Callable[[Any], None]


@pytest.mark.parametrize("kind", KINDS)
def test_an_untouched_report_verifies(kinds, kind):
    found = verify(kinds(kind).report)
    assert (found.faults, found.exit_code) == ((), 0), lines(found)
    for zone in found.zones:
        assert zone.claimed_mm - 0.01 <= zone.proved_mm <= zone.claimed_mm


def _row(change: Callable[[Tree], object]) -> Change:
    return lambda folder: folder.edit("report.json", lambda t: change(t["zones"][0]))


def _zone(change: Callable[[Tree], object]) -> Change:
    return lambda folder: folder.edit("certificate.json", lambda t: change(t["zones"][0]))


def _sweep(change: Callable[[Tree], object], which: int = 0) -> Change:
    return _zone(lambda zone: change(zone["sweeps"][which]))


def _all(*changes: Change) -> Change:
    def change(folder: Any) -> None:
        for one in changes:
            one(folder)

    return change


def _job(old: str, new: str) -> Change:
    return lambda folder: folder.edit_text("job.toml", old, new)


def _shift(tree: Tree, by: float) -> None:
    tree["clearance_mm"] = {end: value + by for end, value in tree["clearance_mm"].items()}


def _raised(folder: Any) -> None:
    """Every bound of the first zone, in report and certificate, half a millimetre up."""

    def row(tree: Tree) -> None:
        _shift(tree, 0.5)
        tree["margin_mm"] += 0.5

    def zone(tree: Tree) -> None:
        for sweep in tree["sweeps"]:
            _shift(sweep, 0.5)
            sweep["cells"] = [[*cell[:-1], cell[-1] + 0.5] for cell in sweep["cells"]]

    _all(_row(row), _zone(zone))(folder)


def _lower_raised(folder: Any) -> None:
    """The bound over all temperatures up to the witness, no sweep touched."""

    def row(tree: Tree) -> None:
        by = tree["clearance_mm"]["upper"] - tree["clearance_mm"]["lower"] + 0.02
        _shift(tree, by)
        tree["margin_mm"] += by

    _row(row)(folder)


def _cell_removed(which: int) -> Change:
    return _sweep(lambda sweep: sweep["cells"].pop(len(sweep["cells"]) // 2), which)


def _cell_raised(sweep: Tree) -> None:
    """By so much that it cannot be true by chance: bounds of cells far from the worst pose are loose."""
    max(sweep["cells"], key=lambda cell: cell[-1])[-1] += 30.0


def _budget(name: str, value: float) -> Change:
    """Change a part of the budget and sum up again."""

    def change(row: Tree) -> None:
        budget = row["budget_mm"]
        budget[name] = value
        parts = [budget[n] for n in ("registration", "noise", "accuracy", "fit", "growth")]
        budget["standard"] = math.sqrt(sum(p**2 for p in parts) + budget["tolerance"] ** 2 / 3)
        budget["guard"] = 1.6448536269514722 * budget["standard"] + budget["spacing"]

    return _row(change)


def _factor(to: float) -> Change:
    """Say that the hottest sweep was of a smaller factor."""
    return _all(_sweep(lambda sweep: sweep.update(factor=to), -1), _row(lambda row: row.update(growth_factor=to)))


def _moved(name: str, axis: int, by: float) -> Change:
    """Move a witness point, in report and certificate alike."""

    def change(tree: Tree) -> None:
        tree[name][axis] += by

    return _all(_row(change), _zone(lambda zone: [change(sweep) for sweep in zone["sweeps"]]))


def _fit(name: str, by: float, axis: int | None = None) -> Change:
    def change(zone: Tree) -> None:
        if axis is None:
            zone["fit"][name] += by
        else:
            zone["fit"][name][axis] += by

    return _zone(change)


def _scan(change: Callable[[np.ndarray], object]) -> Change:
    def changed(folder: Any) -> None:
        points = np.asarray(trimesh.load(folder.root / "bay.ply").vertices).copy()
        change(points)
        trimesh.PointCloud(points).export(folder.root / "bay.ply")

    return changed


def _lowered(points: np.ndarray) -> None:
    points[:, 2] -= 0.5


def _ring_nearer(points: np.ndarray) -> None:
    ring = (np.abs(points[:, 2]) < 1) & (np.hypot(points[:, 0], points[:, 1]) > 50)
    points[ring, :2] *= 0.95


def _longer(folder: Any) -> None:
    trimesh.creation.box((200.8, 40, 40)).export(folder.root / "bar.stl")


def _narrowed(sweep: Tree) -> None:
    """Cut 3 % off the high end of the first angle of every cell that reaches there."""
    low, high = min(c[0] for c in sweep["cells"]), max(c[2] for c in sweep["cells"])
    end = high - 0.03 * (high - low)
    sweep["cells"] = [[*c[:2], min(c[2], end), *c[3:]] for c in sweep["cells"] if c[0] < end]


def _axes_turned(sweep: Tree) -> None:
    a, b = np.array(sweep["link_axes"])
    sweep["link_axes"] = [(np.cos(0.2) * a + np.sin(0.2) * b).tolist(), (np.cos(0.2) * b - np.sin(0.2) * a).tolist()]


def _axes_skewed(sweep: Tree) -> None:
    sweep["link_axes"][1] = (np.array(sweep["link_axes"][1]) * 1.001).tolist()


def _pose(name: str, by: float) -> Change:
    def change(tree: Tree) -> None:
        tree["worst_pose"][name] += by

    return _all(_row(change), _sweep(change))


OFF_FIT = "off the one that the job's fit gives"
TAMPERED: dict[str, dict[str, tuple[Change, str]]] = {
    "grows": {
        "bounds raised": (_raised, "a pose in it has"),
        "bound over all temperatures raised": (_lower_raised, "not that of its certificate"),
        "cell removed, hot": (_cell_removed(-1), "leave a hole"),
        "cell raised, cold": (_sweep(_cell_raised), "a pose in it has"),
        "factor changed": (_factor(1.006), "its sweeps are of factors"),
        "hottest sweep dropped": (_zone(lambda zone: zone["sweeps"].pop()), "its sweeps are of factors"),
        "factor of the certificate changed": (
            lambda folder: folder.edit("certificate.json", lambda t: t["growth"].update(k_hot=1.006)),
            "the certificate has k_hot",
        ),
        "growth left out": (
            lambda folder: folder.edit("certificate.json", lambda t: t.update(growth=None)),
            "differ on growth",
        ),
        "colder in the job": (_job("part_temperature = 500.0", "part_temperature = 480.0"), "certificate has k_hot"),
        "another material": (_job('material = "304"', 'material = "309"'), "the certificate has k_hot"),
        "anchor moved in the job": (_job("point = [-100.0, 0.0", "point = [-98.0, 0.0"), "off its anchor"),
        "growth left out of the budget": (_budget("growth", 0.0), "for the growth"),
        "said to be cold": (_row(lambda row: row.update(hot=False)), "not at the temperature"),
        "witness moved": (_moved("on_part_mm", 0, 0.01), "off the part"),
        "part replaced": (_longer, "a pose in it has"),
    },
    "fitted": {
        "bounds raised": (_raised, "a pose in it has"),
        "cell removed": (_cell_removed(0), "leave a hole"),
        "radius shrunk": (_fit("radius_mm", -0.2), OFF_FIT),
        "axis lifted": (_all(_fit("from_mm", 0.2, 2), _fit("to_mm", 0.2, 2)), OFF_FIT),
        "shortened": (_fit("to_mm", -20.0, 0), OFF_FIT),
        "fit left out": (_zone(lambda zone: zone.update(fit=None)), "differ on a fitted shaft"),
        "said to be sure": (
            _all(_zone(lambda zone: zone["fit"].update(sigma_mm=1e-3)), _budget("fit", 1e-3)),
            "noise alone makes",
        ),
        "sure in the budget alone": (_budget("fit", 1e-3), "for the fit, its certificate"),
        "facets made up": (_zone(lambda zone: zone.update(facet_mm=0.4)), "for facets"),
        "scan lowered": (_scan(_lowered), "off the one fitted again"),
        "fitted no more in the job": (_job('fit = "cylinder"\n', ""), "the job does not"),
    },
    "seated": {
        "bounds raised": (_raised, "a pose in it has"),
        "mask widened in the job": (_job("radius = 46.0", "radius = 63.0"), "its certificate masks"),
        "mask moved in the job": (_job("point = [0.0, 0.0, 0.0]", "point = [0.0, 9.0, 0.0]"), "its certificate masks"),
        "more said to be masked": (_zone(lambda zone: zone["contact"].update(points=9999)), "its certificate masks"),
        "nothing said to be masked": (_zone(lambda zone: zone.update(contact=None)), "its certificate masks 0"),
        "nothing touches in the job": (_job('contact = ["flange"]', "contact = []"), "a pose in it has"),
        "scan moved nearer": (_scan(_ring_nearer), "a pose in it has"),
        "cell raised": (_sweep(_cell_raised), "a pose in it has"),
    },
    "on a body": {
        "bounds raised": (_raised, "a pose in it has"),
        "mask widened in the job": (_job("radius = 46.0", "radius = 50.0"), "its certificate masks"),
        "more said to be masked": (_zone(lambda z: z["contact"].update(area_mm2=7000.0)), "its certificate masks"),
        "nothing said to be masked": (_zone(lambda zone: zone.update(contact=None)), "its certificate masks 0.000"),
    },
    "linked": {
        "bounds raised": (_raised, "a pose in it has"),
        "cell removed": (_cell_removed(0), "leave a hole"),
        "cell raised": (_sweep(_cell_raised), "a pose in it has"),
        "range narrowed": (_sweep(_narrowed), "a state of the shaft points beyond"),
        "axes turned": (_sweep(_axes_turned), "a state of the shaft points beyond"),
        "axes skewed": (_sweep(_axes_skewed), "right angles"),
        "axes left out": (_sweep(lambda sweep: sweep.update(link_axes=None)), "does not tell the axes"),
        "worst pose changed": (_pose("travel_deg", 0.2), "apart at the worst pose"),
        "worst pose out of reach": (_pose("lift_mm", 4.0), "outside the job's motion"),
        "joint moved in the job": (_job("chassis = [80.0, 250.0, 40", "chassis = [80.0, 250.0, 30"), "right angles"),
        "travel widened in the job": (_job("degrees = [-2.0, 2.0]", "degrees = [-2.0, 2.4]"), "points beyond"),
        "witness moved": (_moved("on_zone_mm", 2, 0.2), "off the zone"),
    },
}  # fmt: skip


@pytest.mark.parametrize(("kind", "name"), [(kind, name) for kind, changes in TAMPERED.items() for name in changes])
def test_a_tampered_report_does_not(copy_of, kind, name):
    change, told = TAMPERED[kind][name]
    folder = copy_of(kind)
    change(folder)
    folder.rehash()
    found = verify(folder.report)
    assert found.exit_code == 1
    assert any(told in fault for fault in found.faults), found.faults
    assert not any("SHA-256" in fault for fault in found.faults)


@pytest.mark.parametrize("kind", KINDS)
def test_a_changed_input_is_found_by_its_hash(copy_of, kind):
    folder = copy_of(kind)
    path = folder.root / KINDS[kind][1]
    data = bytearray(path.read_bytes())
    data[-3] ^= 1  # the last triangle's attribute bytes: no coordinate
    path.write_bytes(data)
    found = verify(folder.report)
    assert found.exit_code == 1
    assert any(KINDS[kind][1] in fault and "SHA-256" in fault for fault in found.faults)
