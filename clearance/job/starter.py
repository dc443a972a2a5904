"""The starter: a commented job that runs as it is, and the example part it checks."""

from __future__ import annotations

import struct
from importlib import resources
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clearance.errors import InputError

Array = NDArray[np.float64]
PART = "example_runner.stl"
SIDES = 48


def write_starter(job: Path) -> list[Path]:
    """Write the job file and the part beside it; return both paths.

    Raises
    ------
    InputError
        If either file is there already or the folder cannot be written. Nothing is left half written.
    """
    part = job.parent / PART
    for path in (job, part):
        if path.exists():
            raise InputError(path, "there is such a file already", "choose another name or folder; nothing was written")
    text = resources.files("clearance.job").joinpath("starter.toml").read_text("utf-8").replace("@PART@", PART)
    content = {part: _binary_stl(example_runner()), job: text.encode()}
    written: list[Path] = []
    try:
        for path, data in content.items():
            written.append(path)
            path.write_bytes(data)
    except OSError as fault:
        for path in written:
            path.unlink(missing_ok=True)
        raise InputError(
            job, f"cannot be written ({fault.strerror})", "choose a folder that exists and is writable"
        ) from fault
    return [job, part]


def example_runner() -> Array:
    """Return the (m, 3, 3) triangles, mm, of a closed runner: flange disc, straight, quarter bend, straight."""
    bend, outer, flange = 80.0, 21.0, 45.0
    angle = np.linspace(0, np.pi / 2, 17)
    arc = np.column_stack([60 + bend * np.sin(angle), np.zeros(17), bend * (np.cos(angle) - 1)])
    centres = np.vstack([[[0, 0, 0], [8, 0, 0], [8, 0, 0]], arc, [[60 + bend, 0, -bend - 40]]])
    heading = np.concatenate([np.zeros(3), angle, [np.pi / 2]])
    radius = np.array([flange, flange] + [outer] * (len(centres) - 2))
    turn = 2 * np.pi * np.arange(SIDES) / SIDES
    across = np.column_stack([np.sin(heading), np.zeros(len(heading)), np.cos(heading)])
    rings = centres[:, None] + radius[:, None, None] * (
        np.cos(turn)[None, :, None] * np.array([0.0, 1.0, 0.0]) + np.sin(turn)[None, :, None] * across[:, None]
    )
    beside = np.roll(rings, -1, axis=1)
    sides = [
        np.stack([rings[:-1], beside[:-1], beside[1:]], axis=2),
        np.stack([rings[:-1], beside[1:], rings[1:]], axis=2),
    ]
    first = np.stack([np.broadcast_to(centres[0], rings[0].shape), beside[0], rings[0]], axis=1)
    last = np.stack([np.broadcast_to(centres[-1], rings[-1].shape), rings[-1], beside[-1]], axis=1)
    return np.concatenate([first, *(s.reshape(-1, 3, 3) for s in sides), last])


def _binary_stl(triangles: Array) -> bytes:
    record = np.zeros(len(triangles), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    record["corners"] = triangles
    return b"example part of a starter job".ljust(80) + struct.pack("<I", len(triangles)) + record.tobytes()
