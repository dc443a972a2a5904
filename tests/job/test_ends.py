"""bay.ends: where the user has looked and the surface ends."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from clearance.job.schema import Bay

BAY = {"files": ["bay.ply"], "unit": "mm", "accuracy": 0.1}


def test_none_are_told_of_by_default():
    assert Bay.model_validate(BAY).ends == ()


def test_a_box_is_kept_as_written():
    (end,) = Bay.model_validate(BAY | {"ends": [{"box": {"min": [0, 1, 2], "max": [3, 4, 5.5]}}]}).ends
    assert (end.box.min, end.box.max) == ((0, 1, 2), (3, 4, 5.5))


@pytest.mark.parametrize(
    ("end", "said"),
    [
        ({"box": {"min": [0, 9, 0], "max": [1, 1, 1]}}, "along y"),
        ({"box": {"min": [0, 0, 1], "max": [1, 1, 1]}}, "along z"),
        ({"box": {"min": [0, 0, 0]}}, "max"),
        ({}, "box"),
        ({"box": {"min": [0, 0, 0], "max": [1, 1, float("inf")]}}, "max"),
        ({"box": {"min": [0, 0, 0], "max": [1, 1, 1]}, "gap": 3}, "gap"),
    ],
)
def test_an_empty_inverted_or_unknown_one_is_refused(end, said):
    with pytest.raises(ValidationError, match=said):
        Bay.model_validate(BAY | {"ends": [end]})
