"""A report that was changed does not verify: by hash where only a file changed, by proof where the hashes were mended.

Every change below is small enough that the report still reads well.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
import trimesh

from clearance.verify.verify import verify

Tree = dict[str, Any]


def _report(change: Callable[[Tree], object]) -> Callable[[Any], None]:
    return lambda folder: folder.edit("report.json", change)


def _certificate(change: Callable[[Tree], object]) -> Callable[[Any], None]:
    return lambda folder: folder.edit("certificate.json", change)


def _both(in_row: Callable[[Tree], object], in_sweep: Callable[[Tree], object]) -> Callable[[Any], None]:
    """Change the first zone in report and certificate alike."""

    def change(folder: Any) -> None:
        folder.edit("report.json", lambda t: in_row(t["zones"][0]))
        folder.edit("certificate.json", lambda t: in_sweep(t["zones"][0]["sweeps"][0]))

    return change


def _job(old: str, new: str) -> Callable[[Any], None]:
    return lambda folder: folder.edit_text("job.toml", old, new)


def _lower_raised(by: float) -> Callable[[Any], None]:
    def in_row(row: Tree) -> None:
        row["clearance_mm"]["lower"] += by
        row["clearance_mm"]["upper"] += by
        row["margin_mm"] += by
        row["nearest_raw_point_mm"] += by

    def in_sweep(sweep: Tree) -> None:
        sweep["clearance_mm"]["lower"] += by
        sweep["clearance_mm"]["upper"] += by
        for cell in sweep["cells"]:
            cell[-1] += by

    return _both(in_row, in_sweep)


def _both_bounds(end: str, by: float) -> Callable[[Any], None]:
    def change(tree: Tree) -> None:
        tree["clearance_mm"][end] += by

    return _both(change, change)


def _worst_pose(tree: Tree) -> None:
    tree["worst_pose"]["lift_mm"] += 0.3 if tree["worst_pose"]["lift_mm"] < 0 else -0.3


def _witness(name: str, by: float) -> Callable[[Tree], None]:
    def change(tree: Tree) -> None:
        tree[name][0] += by

    return change


def _scan_moved(folder: Any) -> None:
    """Move the wall 0.4 mm nearer."""
    points = np.asarray(trimesh.load(folder.root / "bay.ply").vertices).copy()
    points[points[:, 1] > 43, 1] -= 0.4
    trimesh.PointCloud(points).export(folder.root / "bay.ply")


def _scan_byte(folder: Any) -> None:
    path = folder.root / "bay.ply"
    data = bytearray(path.read_bytes())
    data[-1] ^= 1
    path.write_bytes(data)


def _part_replaced(folder: Any) -> None:
    trimesh.creation.box((120, 40.6, 40)).export(folder.root / "bar.stl")


def _spacing_zeroed(row: Tree) -> None:
    """Leave the spacing out and sum up again, so that the row agrees with itself."""
    budget = row["budget_mm"]
    budget["guard"] -= budget["spacing"]
    budget["spacing"] = 0.0


def _gap_everywhere(folder: Any) -> None:
    folder.edit_text("job.toml", "gap = 5.0", "gap = 40.0")
    folder.edit("report.json", lambda t: t["zones"][0].update(required_gap_mm=40.0))


def _place_shifted(folder: Any) -> None:
    def change(matrix: list[list[float]]) -> None:
        matrix[2][3] += 0.01

    folder.edit("report.json", lambda t: change(t["registration"]["T_bay_part"]))
    folder.edit("certificate.json", lambda t: change(t["T_bay_part"]))


def _range_narrowed(folder: Any) -> None:
    def change(tree: Tree) -> None:
        for zone in tree["zones"]:
            for sweep in zone["sweeps"]:
                sweep["cells"] = [c for c in sweep["cells"] if c[1] <= max(x[1] for x in sweep["cells"]) * 0.9]

    folder.edit("certificate.json", change)


def _cells(change: Callable[[list[list[float]]], object]) -> Callable[[Any], None]:
    return _certificate(lambda t: change(t["zones"][0]["sweeps"][0]["cells"]))


def _cell_raised(cells: list[list[float]]) -> None:
    max(cells, key=lambda cell: cell[-1])[-1] += 3.0


def _cell_shrunk(cells: list[list[float]]) -> None:
    cell = cells[len(cells) // 2]
    cell[1] = cell[0] + (cell[1] - cell[0]) * (1 - 1e-9)


PROOF = {
    "verdict of a zone flipped": (
        _report(lambda t: t["zones"][0].update(verdict="fail")),
        "its numbers make it pass",
    ),
    "verdict of the job flipped": (_report(lambda t: t.update(verdict="fail")), "the zones make it pass"),
    "lower raised, all of it": (_lower_raised(0.5), "a pose in it has"),
    "lower raised in the row and the bound": (_both_bounds("lower", 0.005), "the least bound of its cells"),
    "lower raised in the report alone": (
        _report(lambda t: t["zones"][0]["clearance_mm"].update(lower=30.0)),
        "not that of its certificate",
    ),
    "upper raised": (_both_bounds("upper", 0.5), "apart at the worst pose"),
    "gap raised in the job": (_job("gap = 5.0", "gap = 6.0"), "the report requires 5 mm, the job 6 mm"),
    "gap lowered in the report": (
        _report(lambda t: t["zones"][0].update(required_gap_mm=4.0)),
        "the report requires 4 mm, the job 5 mm",
    ),
    "gap out of reach in both": (_gap_everywhere, "its numbers make it fail"),
    "guard lowered": (_report(lambda t: t["zones"][0]["budget_mm"].update(guard=0.1)), "its guard is"),
    "standard lowered": (
        _report(lambda t: t["zones"][0]["budget_mm"].update(standard=0.01)),
        "its standard uncertainty is",
    ),
    "noise zeroed": (_report(lambda t: t["zones"][0]["budget_mm"].update(noise=0.0)), "a noise of 0 mm"),
    "registration zeroed": (
        _report(lambda t: t["zones"][0]["budget_mm"].update(registration=0.0)),
        "for the registration",
    ),
    "spacing zeroed, sums mended": (_report(lambda t: _spacing_zeroed(t["zones"][0])), "its spacing allowance"),
    "confidence lowered": (_job("confidence = 0.95", "confidence = 0.6"), "its guard is"),
    "tolerance of the part lowered": (
        _job("tolerance = 0.1", "tolerance = 0.01"),
        "a tolerance of 0.1 mm, the job 0.01 mm",
    ),
    "accuracy lowered": (_job("accuracy = 0.05", "accuracy = 0.01"), "an accuracy of 0.05 mm, the job 0.01 mm"),
    "cell removed": (_cells(lambda cells: cells.pop(len(cells) // 2)), "leave a hole"),
    "cell shrunk by a billionth": (_cells(_cell_shrunk), "leave a hole"),
    "cell raised": (_cells(_cell_raised), "a pose in it has"),
    "range of the cells narrowed": (_range_narrowed, "end short of the motion"),
    "rock widened in the job": (_job("roll = [-1.0, 1.0]", "roll = [-1.0, 1.2]"), "end short of the motion"),
    "lift widened in the job": (_job("lift = [-1.0, 2.0]", "lift = [-1.5, 2.0]"), "a pose in it has"),
    "zone removed": (_report(lambda t: t["zones"].pop(1)), "the report has it 0 times"),
    "zone twice": (_report(lambda t: t["zones"].append(t["zones"][1])), "the report has it 2 times"),
    "zone added": (_report(lambda t: t["zones"].append({**t["zones"][1], "name": "roof"})), "the job does not"),
    "zone without certificate": (_certificate(lambda t: t["zones"].pop(0)), "it has no certificate"),
    "no sweep": (_certificate(lambda t: t["zones"][0].update(sweeps=[])), "holds no sweep"),
    "place shifted 0.01 mm": (_place_shifted, "places the part"),
    "facets made up": (_certificate(lambda t: t["zones"][2].update(facet_mm=0.2)), "for facets"),
    "scan moved": (_scan_moved, "a pose in it has"),
    "part replaced": (_part_replaced, "a pose in it has"),
    "worst pose changed": (_both(_worst_pose, _worst_pose), "apart at the worst pose"),
    "witness on the part moved": (
        _both(_witness("on_part_mm", 0.01), _witness("on_part_mm", 0.01)),
        "its witness point on the part",
    ),
    "witness on the zone moved": (_both(_witness("on_zone_mm", 0.01), _witness("on_zone_mm", 0.01)), "off the zone"),
    "direction turned": (_report(lambda t: t["zones"][0].update(direction=[1.0, 0.0, 0.0])), "its direction is not"),
    "margin raised": (_report(lambda t: t["zones"][0].update(margin_mm=99.0)), "is not clearance less gap"),
    "not placed after all": (
        _report(lambda t: t["registration"].update(converged=False)),
        "registration is not the job",
    ),
}
"""Changes whose hashes are mended afterwards: the checks themselves must tell, in these words."""

HASH = {
    "one bit of the scan": _scan_byte,
    "worst_points.csv edited": lambda folder: folder.edit_text("worst_points.csv", "wall", "wa11"),
    "report.html edited": lambda folder: folder.edit_text("report.html", "bar between", "bar beside"),
    "reason rewritten": _report(lambda t: t.update(reason="all is well")),
    "input hash changed": _report(lambda t: t["inputs"][0].update(sha256="0" * 64)),
    "coloured mesh removed": lambda folder: (folder.report / "clearance_part.ply").unlink(),
    "title of the job changed": _job("bar between", "rod between"),
}
"""Changes that only a hash tells, since nothing that decides is touched."""


@pytest.mark.parametrize("name", PROOF)
def test_a_change_with_mended_hashes_is_found_by_the_checks(folder, name):
    change, told = PROOF[name]
    change(folder)
    folder.rehash()
    found = verify(folder.report)
    assert found.exit_code == 1
    assert any(told in fault for fault in found.faults), found.faults
    assert not any("SHA-256" in fault for fault in found.faults)


@pytest.mark.parametrize("name", HASH)
def test_a_changed_file_is_found_by_its_hash(folder, name):
    HASH[name](folder)
    found = verify(folder.report)
    assert found.exit_code == 1
    assert any("SHA-256" in fault or "missing" in fault for fault in found.faults)


def test_an_untouched_copy_verifies(folder):
    folder.rehash()
    assert verify(folder.report).faults == ()
