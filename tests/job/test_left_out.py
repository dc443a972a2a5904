"""bay.left_out: scan points that are no neighbours."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from clearance.job.schema import Bay

BAY = {"files": ["bay.ply"], "unit": "mm", "accuracy": 0.1}
BALL = {"sphere": {"center": [0, 0, 0], "diameter": 5}}


def test_nothing_is_left_out_by_default():
    assert Bay.model_validate(BAY).left_out == ()


def test_a_place_is_kept_as_written():
    (table,) = Bay.model_validate(BAY | {"left_out": [{"name": "head", "where": BALL}]}).left_out
    assert table.name == "head"
    assert table.where.sphere is not None
    assert table.where.sphere.diameter == 5


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({"where": BALL}, "name"),
        ({"name": "head"}, "where"),
        ({"name": "head", "where": {"rest": True}}, "give a box, cylinder, capsule or sphere"),
        ({"name": "head", "where": {"file": "head.stl", "unit": "mm"}}, "give a box, cylinder, capsule or sphere"),
        ({"name": "head", "where": BALL | {"solid": True}}, "give a box, cylinder, capsule or sphere"),
        ({"name": "head", "where": {}}, "exactly one"),
    ],
)
def test_anything_but_a_net_is_refused(table, said):
    with pytest.raises(ValidationError, match=said):
        Bay.model_validate(BAY | {"left_out": [table]})
