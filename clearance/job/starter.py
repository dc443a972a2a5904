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
SIDES = 18
ARC = 6


def write_starter(job: Path) -> list[Path]:
    """Write the job file and the part beside it; return both paths, the job's first.

    Raises
    ------
    InputError
        If either file is there already or cannot be written. Then neither is written.
    """
    if job.name == PART:
        raise InputError(job, "is the name of the example part", "choose another name, such as job.toml")
    text = resources.files("clearance.job").joinpath("starter.toml").read_text("utf-8").replace("@PART@", PART)
    content = {job: text.encode(), job.parent / PART: _binary_stl(example_runner())}
    made: list[Path] = []
    try:
        for path, data in content.items():
            with path.open("xb") as file:
                made.append(path)
                file.write(data)
    except BaseException as fault:
        for written in made:
            written.unlink(missing_ok=True)
        if isinstance(fault, FileExistsError):
            raise InputError(path, "exists already", "choose another folder or name; nothing was written") from fault
        if isinstance(fault, OSError):
            wanted = "choose a folder that exists and can be written; nothing was written"
            raise InputError(path, f"cannot be written ({fault.strerror})", wanted) from fault
        raise
    return list(content)


def example_runner() -> Array:
    """Return the (m, 3, 3) triangles, mm, of a closed runner: flange disc, straight, quarter bend, straight.

    The flange (90 mm across, 8 mm thick) stands on the plane x = 0 about the origin; the pipe (42 mm
    across) leaves along +x and bends about y, 70 mm in radius, to end downwards at (130, 0, -110).
    The solid is filled: a pipe's bore does not change its clearance.
    """
    bend, outer, flange = 70.0, 21.0, 45.0
    angle = np.linspace(0, np.pi / 2, ARC + 1)
    arc = np.column_stack([60 + bend * np.sin(angle), np.zeros(ARC + 1), bend * (np.cos(angle) - 1)])
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
