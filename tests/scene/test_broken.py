"""Broken files that once broke a reader (found by `scripts/fuzz.py`), read as there: limits on memory and time."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "scripts"))

import fuzz  # noqa: E402

KEPT = sorted((Path(__file__).parent / "broken").iterdir())


@pytest.fixture(scope="module")
def reader() -> Iterator[fuzz.Reader]:
    child = fuzz.Reader()
    yield child
    child.stop()


@pytest.mark.parametrize("path", KEPT, ids=[path.name for path in KEPT])
def test_is_refused(reader: fuzz.Reader, path: Path) -> None:
    assert reader.ends(path.name, path) == "refused"


def test_sound_files_are_read_and_some_broken_ones_are_refused(reader: fuzz.Reader, tmp_path: Path) -> None:
    """The harness itself: sound files pass it, a file cut in half does not."""
    for name, data in fuzz.corpus().items():
        if name.endswith(".toml"):
            continue
        path = tmp_path / name
        path.write_bytes(data)
        assert reader.ends(name, path) == "read", name
        if name.endswith((".las", ".laz", ".e57", ".stl", ".glb")):
            path.write_bytes(data[: len(data) // 2])
            assert reader.ends(name, path) == "refused", name
