"""A job's growth, its anchor and its uncertainty, against numbers worked by hand. Lengths in mm."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from clearance.bounds import Bound
from clearance.errors import InputError
from clearance.frames import rigid
from clearance.heat.growth import Growth, anchor_point, grown, growth_of, growth_spread_anywhere_mm, growth_spread_mm
from clearance.job.datum import Datum
from clearance.job.schema import Job
from clearance.motion.result import MotionState, Sweep
from clearance.scene.mesh import Mesh

FACE = {"name": "flange", "on": "part", "face": {"point": [1, 2, 3], "normal": [0, 0, 1], "radius": 40}}


def job(material: str | None = "304", **heat) -> Job:
    """A job whose part is anchored at its flange."""
    part = {"file": "part.stl", "unit": "mm", "tolerance": 0.3} | ({"material": material} if material else {})
    tree = {
        "part": part,
        "register": {"method": "given", "shift": [0, 0, 0]},
        "datum": [{**FACE, "on": "bay", "face": {**FACE["face"], "point": [9, 9, 9]}}, FACE],
        "zone": [{"name": "wall", "kind": "chassis", "where": {"box": {"min": [0, 0, 0], "max": [1, 1, 1]},
                                                               "solid": True}, "gap": 5}],
    }  # fmt: skip
    if heat:
        tree["heat"] = {"anchor": "flange", **heat}
    return Job.model_validate(tree, strict=False)


@pytest.mark.parametrize(
    ("feature", "point"),
    [
        ({"face": {"point": [1, 2, 3], "normal": [0, 0, 1], "radius": 40}}, (1, 2, 3)),
        ({"hole": {"center": [4, 5, 6], "axis": [0, 0, 1], "diameter": 8}}, (4, 5, 6)),
        ({"stud": {"center": [7, 8, 9], "axis": [0, 0, 1], "diameter": 8}}, (7, 8, 9)),
        ({"edge": {"from": [0, 0, 0], "to": [10, 20, 30]}}, (5, 10, 15)),
    ],
)
def test_every_datum_has_an_anchor_point(feature, point):
    datum = Datum.model_validate({"name": "d", "on": "part", **feature}, strict=False)
    assert anchor_point(datum) == pytest.approx(point)


def test_growth_leaves_the_anchor_and_lengthens_all_else():
    mesh = Mesh(np.array([[10.0, 0, 0], [310, 0, 0], [10, 50, 0]]), np.array([[0, 1, 2]]))
    larger = grown(mesh, np.array([10.0, 0, 0]), 1.00864)
    assert larger.vertices == pytest.approx(np.array([[10, 0, 0], [312.592, 0, 0], [10, 50.432, 0]]), abs=1e-12)


def test_the_factors_of_a_job():
    """EN 10088-1, 304 to 500 °C: 18.0e-6 * 480 = 0.00864; the anchor is the part's datum, not the bay's of its name."""
    growth = growth_of(job(part_temperature=500.0))
    assert growth is not None
    assert (growth.k_cold, growth.k_hot) == pytest.approx((1.0, 1.00864), abs=1e-12)
    assert growth.anchor == pytest.approx((1, 2, 3))
    assert growth.spread == 0.08
    assert "20 to 500 °C" in growth.text
    assert "EN 10088-1" in growth.text
    assert growth.warning is None


def test_a_part_modelled_hot_shrinks_when_cold():
    """Modelled at 100 °C and used at 20: 16.0e-6 * 80 shorter (EN 10088-1)."""
    growth = growth_of(job(part_temperature=100.0, modelled_at=100.0))
    assert (growth.k_cold, growth.k_hot) == pytest.approx((1 - 0.00128, 1.0), abs=1e-12)


def test_surroundings_hotter_than_the_part_count():
    """A cold part in hot surroundings warms up to them: EN 10088-1, 304 to 200 °C 16.5e-6 * 180."""
    growth = growth_of(job(part_temperature=60.0, ambient=200.0))
    assert growth.k_hot == pytest.approx(1 + 16.5e-6 * 180, abs=1e-12)


def test_growth_moves_with_the_part():
    growth = growth_of(job(part_temperature=500.0))
    turned = rigid("bay", "part", [[0, -1, 0], [1, 0, 0], [0, 0, 1]], (100, 0, 0))
    assert growth.moved(turned).anchor == pytest.approx((98, 1, 3))


def test_a_job_without_heat_does_not_grow():
    assert growth_of(job()) is None


def test_heat_needs_a_material_whose_growth_is_known():
    with pytest.raises(InputError, match=r"part.material: \[heat\] but no material"):
        growth_of(job(None, part_temperature=500.0))
    with pytest.raises(InputError, match="unknown material 'brie'"):
        growth_of(job("brie", part_temperature=500.0))
    with pytest.raises(InputError, match=r"heat: 20 to 700 °C .* within 15 to 650 °C"):
        growth_of(job("Ti-6Al-4V", part_temperature=700.0))


def test_too_hot_for_the_material_is_warned_of():
    """Supplier's data sheet: Ti-6Al-4V to about 427 °C."""
    assert "427" in (growth_of(job("Ti-6Al-4V", part_temperature=500.0)).warning or "")


def sweep_at_tip(direction) -> Sweep:
    tip = np.array([302.592, 0.0, 0.0])
    return Sweep(clearance=Bound(5.0, 5.0), worst=MotionState(), on_part=tip, on_zone=tip, cells=np.zeros((0, 3)),
                 direction=np.asarray(direction, float), evaluations=1)  # fmt: skip


def test_spread_at_the_worst_spot():
    """2.592 of growth known to +-8 %, rectangular: 2.592 * 0.08 / sqrt 3 = 0.119719; across the gap none of it."""
    growth = Growth(anchor=np.zeros(3), k_cold=1.0, k_hot=1.00864, spread=0.08, text="")
    assert growth_spread_mm(sweep_at_tip([-1, 0, 0]), 1.00864, growth) == pytest.approx(0.119719, abs=1e-6)
    assert growth_spread_mm(sweep_at_tip([0, 1, 0]), 1.00864, growth) == pytest.approx(0.0, abs=1e-12)
    assert growth_spread_mm(sweep_at_tip([-1, 0, 0]), 1.0, growth) == 0.0


def test_spread_anywhere_is_at_least_that_at_any_spot():
    growth = Growth(anchor=np.array([0.0, 0, 0]), k_cold=0.999, k_hot=1.00864, spread=0.08, text="")
    points = np.array([[300.0, 0, 0], [0, 30, 40], [0, 0, 0]])
    anywhere = growth_spread_anywhere_mm(points, growth)
    assert anywhere == pytest.approx([0.119719, 0.0199532, 0.0], abs=1e-6)


def test_the_sample_job_files_path_is_named():
    with pytest.raises(InputError, match=r"^rev_b\.toml: part.material"):
        growth_of(job("brie", part_temperature=500.0).model_copy(update={"file": Path("rev_b.toml")}))
