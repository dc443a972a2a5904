"""The run's birth certificate: hashes of the inputs and versions of what computed the result."""

from __future__ import annotations

import hashlib
import platform
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

DECIDING_LIBRARIES = (
    "clearance",
    "numpy",
    "scipy",
    "python-fcl",
    "libigl",
    "trimesh",
    "embreex",
    "open3d-cpu",
    "open3d",
)


@dataclass(frozen=True, kw_only=True)
class InputFile:
    """One file the verdict rests on. Exactly one of `points` and `triangles` is set for geometry."""

    file: str
    sha256: str
    unit: str | None = None
    points: int | None = None
    triangles: int | None = None


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file's bytes, hexadecimal, read in blocks."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def versions() -> dict[str, str]:
    """Return the versions of Python and of every installed library that decides a number."""
    found = {"python": platform.python_version()}
    for name in DECIDING_LIBRARIES:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    return found
