"""Small changes to a report that leave it reading well."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import trimesh

from clearance.verify.text import lines
from clearance.verify.verify import verify

Tree = dict[str, Any]
Change = Callable[[Any], None]
"""Something done to a `Folder` of tests/verify, in report and certificate alike where both say it."""


def holds(folder: Any) -> None:
    """The report verifies, and says so of every zone."""
    found = verify(folder.report)
    assert (found.faults, found.exit_code) == ((), 0), lines(found)
    for zone in found.zones:
        assert zone.claimed_mm - 0.01 <= zone.proved_mm <= zone.claimed_mm


def caught(folder: Any, change: Change, told: str) -> None:
    """The changed report does not, in these words; its hashes are mended, so that they cannot tell."""
    change(folder)
    folder.rehash()
    found = verify(folder.report)
    assert found.exit_code == 1
    assert any(told in fault for fault in found.faults), found.faults
    assert not any("SHA-256" in fault for fault in found.faults)


def in_row(change: Callable[[Tree], object]) -> Change:
    return lambda folder: folder.edit("report.json", lambda t: change(t["zones"][0]))


def in_zone(change: Callable[[Tree], object]) -> Change:
    return lambda folder: folder.edit("certificate.json", lambda t: change(t["zones"][0]))


def in_sweep(change: Callable[[Tree], object], which: int = 0) -> Change:
    return in_zone(lambda zone: change(zone["sweeps"][which]))


def each_of(*changes: Change) -> Change:
    def change(folder: Any) -> None:
        for one in changes:
            one(folder)

    return change


def in_job(old: str, new: str) -> Change:
    return lambda folder: folder.edit_text("job.toml", old, new)


def shift(tree: Tree, by: float) -> None:
    tree["clearance_mm"] = {end: value + by for end, value in tree["clearance_mm"].items()}


def raised(folder: Any) -> None:
    """Every bound of the first zone, in report and certificate, half a millimetre up."""

    def row(tree: Tree) -> None:
        shift(tree, 0.5)
        tree["margin_mm"] += 0.5

    def zone(tree: Tree) -> None:
        for sweep in tree["sweeps"]:
            shift(sweep, 0.5)
            sweep["cells"] = [[*cell[:-1], cell[-1] + 0.5] for cell in sweep["cells"]]

    each_of(in_row(row), in_zone(zone))(folder)


def lower_raised(folder: Any) -> None:
    """The bound over all temperatures up to the witness, no sweep touched."""

    def row(tree: Tree) -> None:
        by = tree["clearance_mm"]["upper"] - tree["clearance_mm"]["lower"] + 0.02
        shift(tree, by)
        tree["margin_mm"] += by

    in_row(row)(folder)


def cell_removed(which: int) -> Change:
    return in_sweep(lambda sweep: sweep["cells"].pop(len(sweep["cells"]) // 2), which)


def cell_raised(sweep: Tree) -> None:
    """By so much that it cannot be true by chance: bounds of cells far from the worst pose are loose."""
    max(sweep["cells"], key=lambda cell: cell[-1])[-1] += 30.0


def in_budget(name: str, value: float) -> Change:
    """Change a part of the budget and sum up again."""

    def change(row: Tree) -> None:
        budget = row["budget_mm"]
        budget[name] = value
        parts = [budget[n] for n in ("registration", "noise", "accuracy", "fit", "growth")]
        budget["standard"] = math.sqrt(sum(p**2 for p in parts) + budget["tolerance"] ** 2 / 3)
        budget["guard"] = 1.6448536269514722 * budget["standard"] + budget["spacing"]

    return in_row(change)


def factor_changed(to: float) -> Change:
    """Say that the hottest sweep was of a smaller factor."""
    return each_of(
        in_sweep(lambda sweep: sweep.update(factor=to), -1), in_row(lambda row: row.update(growth_factor=to))
    )


def witness_moved(name: str, axis: int, by: float) -> Change:
    """Move a witness point, in report and certificate alike."""

    def change(tree: Tree) -> None:
        tree[name][axis] += by

    return each_of(in_row(change), in_zone(lambda zone: [change(sweep) for sweep in zone["sweeps"]]))


def in_fit(name: str, by: float, axis: int | None = None) -> Change:
    def change(zone: Tree) -> None:
        if axis is None:
            zone["fit"][name] += by
        else:
            zone["fit"][name][axis] += by

    return in_zone(change)


def in_scan(change: Callable[[np.ndarray], object]) -> Change:
    def changed(folder: Any) -> None:
        points = np.asarray(trimesh.load(folder.root / "bay.ply").vertices).copy()
        change(points)
        trimesh.PointCloud(points).export(folder.root / "bay.ply")

    return changed


def lowered(points: np.ndarray) -> None:
    points[:, 2] -= 0.5


def ring_nearer(points: np.ndarray) -> None:
    ring = (np.abs(points[:, 2]) < 1) & (np.hypot(points[:, 0], points[:, 1]) > 50)
    points[ring, :2] *= 0.95


def longer(folder: Any) -> None:
    trimesh.creation.box((200.8, 40, 40)).export(folder.root / "bar.stl")


def narrowed(sweep: Tree) -> None:
    """Cut 3 % off the high end of the first angle of every cell that reaches there."""
    low, high = min(c[0] for c in sweep["cells"]), max(c[2] for c in sweep["cells"])
    end = high - 0.03 * (high - low)
    sweep["cells"] = [[*c[:2], min(c[2], end), *c[3:]] for c in sweep["cells"] if c[0] < end]


def axes_turned(sweep: Tree) -> None:
    a, b = np.array(sweep["link_axes"])
    sweep["link_axes"] = [(np.cos(0.2) * a + np.sin(0.2) * b).tolist(), (np.cos(0.2) * b - np.sin(0.2) * a).tolist()]


def axes_skewed(sweep: Tree) -> None:
    sweep["link_axes"][1] = (np.array(sweep["link_axes"][1]) * 1.001).tolist()


def pose_changed(name: str, by: float) -> Change:
    def change(tree: Tree) -> None:
        tree["worst_pose"][name] += by

    return each_of(in_row(change), in_sweep(change))
