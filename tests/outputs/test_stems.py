"""File names of zones."""

from __future__ import annotations

import string

from hypothesis import given
from hypothesis import strategies as st

from clearance.outputs.stems import stems

RESERVED = set('<>:"/\\|?*. ') | set(string.whitespace)
"""Characters that some file system refuses (Windows' rules are the strictest in use)."""


@given(st.lists(st.text(min_size=1), unique=True, max_size=8))
def test_stems_are_unique_safe_and_short(names: list[str]):
    found = stems(names)
    assert list(found) == names
    assert len({stem.casefold() for stem in found.values()}) == len(names)
    assert all(stem and not RESERVED & set(stem) and len(stem.encode()) < 100 for stem in found.values())


def test_names_that_look_alike_get_numbers():
    assert stems(["Left shaft", "left-shaft", "left_shaft"]) == {
        "Left shaft": "left-shaft",
        "left-shaft": "left-shaft-2",
        "left_shaft": "left-shaft-3",
    }
