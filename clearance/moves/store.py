"""Finished boxes of cells, kept in a file that is only added to, so that nothing finished is worked out again."""

from __future__ import annotations

import hashlib
import io
import pickle
import sqlite3
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from clearance.errors import InputError
from clearance.moves.cells import Cells, Study

FIELDS = ("low", "high", "ruling", "blocker")


def study_key(study: Study, versions: Mapping[str, str]) -> str:
    """Return the SHA-256 of all that a study's cells depend on: bodies, motions, needs, moves, library versions."""
    return hashlib.sha256(pickle.dumps((study, sorted(versions.items())), protocol=4)).hexdigest()


class Store:
    """Finished boxes of one study in an SQLite file; each is on the disk before `add` returns.

    Raises InputError where the file cannot be used.
    """

    def __init__(self, path: Path, key: str) -> None:
        self._path, self._key = path, key
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._base = sqlite3.connect(path)
            self._base.execute("PRAGMA synchronous = FULL")
            self._base.execute(
                "CREATE TABLE IF NOT EXISTS finished (study TEXT, box INTEGER, cells BLOB, PRIMARY KEY (study, box))"
            )
            self._base.commit()
        except (sqlite3.Error, OSError) as fault:
            raise self._unusable(fault) from fault

    def finished(self) -> dict[int, Cells]:
        """Return the boxes that are finished, by number."""
        try:
            rows = self._base.execute("SELECT box, cells FROM finished WHERE study = ?", (self._key,)).fetchall()
        except sqlite3.Error as fault:
            raise self._unusable(fault) from fault
        return {int(box): _unpacked(blob) for box, blob in rows}

    def add(self, box: int, cells: Cells) -> None:
        """Keep a finished box."""
        try:
            with self._base:
                self._base.execute("INSERT OR IGNORE INTO finished VALUES (?, ?, ?)", (self._key, box, _packed(cells)))
        except sqlite3.Error as fault:
            raise self._unusable(fault) from fault

    def forget(self) -> None:
        """Start this study anew."""
        with self._base:
            self._base.execute("DELETE FROM finished WHERE study = ?", (self._key,))

    def close(self) -> None:
        """Close the file."""
        self._base.close()

    def _unusable(self, fault: Exception) -> InputError:
        return InputError(self._path, f"cannot keep finished cells ({fault})", "remove it or choose another -o", "-o")


def _packed(cells: Cells) -> bytes:
    stream = io.BytesIO()
    arrays = {name: getattr(cells, name) for name in FIELDS}
    np.savez_compressed(stream, evaluations=np.int64(cells.evaluations), **arrays)
    return stream.getvalue()


def _unpacked(blob: bytes) -> Cells:
    with np.load(io.BytesIO(blob), allow_pickle=False) as held:
        return Cells(evaluations=int(held["evaluations"]), **{name: held[name] for name in FIELDS})
