"""Errors a user can act on. Each says where, which key, what was found and what would be right."""

from __future__ import annotations

from pathlib import Path


class ClearanceError(Exception):
    """Root of every error this package raises on purpose."""


class InputError(ClearanceError):
    """Bad input: one clear line, exit code 2.

    Parameters
    ----------
    where : path or str
        File (or other source) that holds the fault.
    found : str
        What was found there.
    wanted : str
        What would be right, or the next action.
    key : str, optional
        Key inside the file, such as ``zone 'frame rail': gap``.
    """

    def __init__(self, where: str | Path, found: str, wanted: str, key: str | None = None) -> None:
        self.where, self.key, self.found, self.wanted = str(where), key, found, wanted
        place = f"{self.where}: {key}" if key else self.where
        line = f"{place}: {found}; {wanted}"
        super().__init__("".join(c if c.isprintable() else ascii(c)[1:-1] for c in line))


class MissingLibraryError(ClearanceError):
    """A system library is missing; names the package that carries it. Exit code 2."""


class StoppedError(ClearanceError):
    """The user stopped the work; the message says what of it is kept."""
