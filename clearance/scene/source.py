"""A geometry file as the user named it: how to complain about it, and whether its size makes sense."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from clearance.errors import InputError
from clearance.provenance import sha256_of
from clearance.units import UNITS, to_mm


@dataclass(frozen=True)
class Source:
    """One input file and the place that names it.

    Attributes
    ----------
    path : Path
    key : str or None
        Key inside the naming file, such as ``part: file``.
    where : path or str or None
        The naming file (a job file); None where the user gave the file itself.
    """

    path: Path
    key: str | None = None
    where: Path | str | None = None

    def error(self, found: str, wanted: str) -> InputError:
        """Build the error that says what is wrong with this file."""
        if self.where is None:
            return InputError(self.path, found, wanted, None)
        return InputError(self.where, f"{self.path}: {found}", wanted, self.key)

    def check(self, extensions: tuple[str, ...]) -> str:
        """Return the lower-case extension. Raises InputError if missing, empty, unreadable or of another kind."""
        extension = self.path.suffix.lower().removeprefix(".")
        if not self.path.exists():
            raise self.error("no such file", "give the path of an existing file")
        if not self.path.is_file():
            raise self.error("not a file", "give the path of a file")
        if extension not in extensions:
            raise self.error(f"unknown file type '{self.path.suffix}'", f"use one of {' '.join(extensions)}")
        try:
            with self.path.open("rb") as stream:
                empty = not stream.read(1)
        except OSError as fault:
            raise self.error(f"cannot be read ({fault.strerror})", "make the file readable") from fault
        if empty:
            raise self.error("the file is empty", "export it again")
        return extension

    def factor(self, unit: str, stated: str | None, standard: str = "the file") -> float:
        """Return mm per file unit. Raises InputError for an unknown unit or one the file contradicts."""
        if unit not in UNITS:
            raise self.error(f"unknown unit '{unit}'", f"use one of {' '.join(UNITS)}")
        if stated is not None and stated != unit:
            wanted = f'set unit = "{stated}"' if stated in UNITS else f"export it again in one of {' '.join(UNITS)}"
            raise self.error(f"{standard} states the unit '{stated}', the unit given is '{unit}'", wanted)
        return to_mm(unit)

    def check_size(self, diagonal_mm: float, unit: str, smallest_mm: float, largest_mm: float) -> None:
        """Raise InputError if a bounding diagonal, mm, is outside the plausible range."""
        if smallest_mm <= diagonal_mm <= largest_mm:
            return
        fits = [other for other in UNITS if smallest_mm <= diagonal_mm * to_mm(other) / to_mm(unit) <= largest_mm]
        sizes = ", ".join(f'"{u}" would make it {diagonal_mm * to_mm(u) / to_mm(unit):.4g} mm' for u in fits)
        raise self.error(
            f'the bounding diagonal is {diagonal_mm:.6g} mm in unit "{unit}", wrong unit?',
            f"plausible is {smallest_mm:g} to {largest_mm:g} mm; {sizes or 'no known unit makes it plausible'}",
        )


def check_unchanged(path: Path, sha256: str, key: str, where: Path) -> None:
    """Raise InputError if a file is no longer the one that had this hash before it was read."""
    if not path.is_file() or sha256_of(path) != sha256:
        raise InputError(where, f"{path} changed while it was read", "wait until it is written, then run again", key)
