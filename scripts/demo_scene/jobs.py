"""The job files of the demo, as text."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from demo_scene.bay import (
    BULKHEAD_X,
    LIFT_MM,
    RAIL_TOP,
    RAIL_X,
    ROCK_AXIS,
    ROCK_POINT,
    ROLL_DEG,
    SHAFT,
    SHIFT_MM,
    pose_bay_part,
)
from demo_scene.part import FLANGE_THICK, STUDS, Array
from demo_scene.scanner import SECOND_VISIT, STATIONS

PICK_SIGMA = 0.12
"""1 sigma of each coordinate of a picked stud, mm."""

STUD_LONG = 30.0
"""How far the studs stand out of the head, mm."""

GAPS = {
    "frame rail": 20.0,
    "left shaft": 25.0,
    "brake line": 75.0,
    "bulkhead": 25.0,
    "wastegate actuator": 8.0,
    "everything else": 15.0,
}
"""Required gaps, mm. Common practice: 15 to 20 to chassis on soft mounts, 25 or more to a shaft, 75 to 100 to a
bare brake line, 25 to 50 to a painted panel."""


@dataclass(frozen=True)
class DemoJob:
    """One job file: its part, whether the second visit's scan is in, and what its head says."""

    name: str
    part: str
    second_visit: bool
    title: str
    about: str


BAY_FILES = tuple(f"bay_{number}.ply" for number in range(1, len(STATIONS) + 1))
RAIL_FILE = "bay_rail.ply"

SCENE = """\
# Invented scene, made by scripts/make_demo_scans.py: a mid-engined kit roadster with a transverse in-line four.
# The log manifold hangs between head and rear bulkhead, over a square-tube frame rail; the left shaft runs
# under runner 4. Bay frame, mm: x forward, y left, z up. The bay was scanned with the engine out, the left
# shaft strapped up at ride height. truth.json holds the true place and clearances.
"""

JOBS = (
    DemoJob(
        "rev_a", "rev_a.stl", True, "Log manifold, rev A",
        "# Rev A: the log sags at runner 2. It clears the rail at rest; at full roll the rail is short.\n",
    ),
    DemoJob(
        "rev_b", "rev_b.stl", True, "Log manifold, rev B",
        "# Rev B: the log runs straight. Every zone keeps its gap through the whole rock.\n",
    ),
    DemoJob(
        "rev_b_gap_in_scan", "rev_b.stl", False, "Log manifold, rev B, first scan only",
        "# Rev B against the first scan alone: 130 mm of the rail, bare bright steel under runners 2 and 3, gave\n"
        "# no returns (bay_rail.ply, taken after dulling it, fills the hole). What stands there is not known.\n",
    ),
)  # fmt: skip


def picked_landmarks(pose: Array, rng: np.random.Generator) -> dict[str, tuple[list[float], list[float], list[float]]]:
    """Return for each stud its place on the part, its true place in the bay and the place picked there, mm."""
    found = {}
    for name, (x, y) in STUDS.items():
        part = np.array([x, y, 0.0])
        true = pose[:3, :3] @ part + pose[:3, 3]
        found[name] = (part.tolist(), true.tolist(), np.round(true + rng.normal(0, PICK_SIGMA, 3), 2).tolist())
    return found


def job_text(job: DemoJob, landmarks: dict[str, tuple[list[float], list[float], list[float]]]) -> str:
    """Return the TOML of a job."""
    pairs = "".join(
        f'  {{ name = "{name}", part = {part}, bay = {picked} }},\n' for name, (part, _, picked) in landmarks.items()
    )
    files = [*BAY_FILES, *([RAIL_FILE] if job.second_visit else [])]
    stations = [*STATIONS, *([SECOND_VISIT] if job.second_visit else [])]
    return f"""\
{job.about}{SCENE}
title = "{job.title}"

[part]
file = "{job.part}"
unit = "mm"
rides = "engine"
material = "316L"
tolerance = 0.3

[bay]
files = [{", ".join(f'"{file}"' for file in files)}]
unit = "mm"
noise = "auto"
accuracy = 0.1
stations = {[list(station.eye) for station in stations]}

# Four exhaust studs where they leave the head's face, picked on a scan taken before the engine came out.
[register]
method = "landmarks"
pair = [
{pairs}]
{_zones()}
# The engine turns on its mounts about the crank's direction; positive roll lowers the manifold.
[rock]
axis = {{ point = {list(ROCK_POINT)}, direction = {list(ROCK_AXIS)} }}
roll = {list(ROLL_DEG)}
lift = {list(LIFT_MM)}
shift = {list(SHIFT_MM)}
"""


HOT_HEAD = """\
# Rev B, hot: what gap the brake hard line needs of it, bare and behind a sheet. For `clearance shield`.
# The scans and the part are those of rev_b.toml, one folder up; so are the zones and their gaps.
"""
HOT = """
# Growth is about the middle of the head flange, which the studs hold.
[[datum]]
name = "flange"
on = "part"
face = { point = [0.0, 0.0, 0.0], normal = [0.0, 0.0, -1.0], radius = 30.0 }

[heat]
part_temperature = 650
ambient = 80
anchor = "flange"
emissivity = "stainless heavily oxidised"
air_speed = 3.0

[shield]
sheets = 1
standoff = 15.0
sheet = 0.8
emissivity = "aluminium oxidised"
"""


def hot_job_text(job: DemoJob, landmarks: dict[str, tuple[list[float], list[float], list[float]]]) -> str:
    """Return the TOML of a job in use, one folder below the cold one: a limit for the brake line, heat and a shield."""
    text = _below(job, landmarks).replace(job.title, f"{job.title}, hot")
    return HOT_HEAD + text.replace("shielded = false\n", 'shielded = false\nlimit = "brake line DOT 4"\n') + HOT


ON_AND_OFF_HEAD = """\
# Rev B, getting it on and off: does it slide off its studs, and what tool reaches the nuts at its corners?
# The scans and the part are those of rev_b.toml, one folder up; so are the zones and their gaps.
"""
NUTS = {"upper stud 1": "socket", "upper stud 4": "socket", "lower stud 1": "socket", "lower stud 4": "spanner"}
"""The tool tried on each nut."""


def access_job_text(job: DemoJob, landmarks: dict[str, tuple[list[float], list[float], list[float]]]) -> str:
    """Return the TOML of a job, one folder below the cold one, that asks for the slide and the nuts too."""
    text = _below(job, landmarks).replace(job.title, f"{job.title}, on and off")
    way = pose_bay_part()[:3, 2]
    along = f"[{', '.join(f'{x:.5f}' for x in way)}]"
    slide = f'\n[[access]]\nname = "off its studs"\nslide = {{ along = {along}, length = {STUD_LONG} }}\ngap = 1.0\n'
    nuts = (
        f'\n[[access]]\nname = "nut, {name}"\n[access.tool]\nkind = "{kind}"\naxis = {along}\nthread = "M8"\n'
        f"at = {(np.array(landmarks[name][2]) + FLANGE_THICK * way).round(2).tolist()}\n"
        for name, kind in NUTS.items()
    )
    return ON_AND_OFF_HEAD + text + slide + "".join(nuts)


def _below(job: DemoJob, landmarks: dict[str, tuple[list[float], list[float], list[float]]]) -> str:
    """Return the zones and placement of a job for a file one folder below it, without what the head says."""
    text = job_text(job, landmarks).removeprefix(job.about + SCENE)
    for file in (job.part, *BAY_FILES, RAIL_FILE, "actuator.stl"):
        text = text.replace(f'"{file}"', f'"../{file}"')
    return text


def _zones() -> str:
    """Return the zones' tables."""
    (x, y, z), (x2, y2, z2) = SHAFT
    rail = f"min = [{RAIL_X - 22}, -385.0, {RAIL_TOP - 44}], max = [{RAIL_X + 22}, 385.0, {RAIL_TOP + 3.5}]"
    line = f"min = [{BULKHEAD_X + 6}, 206.0, 20.0], max = [{BULKHEAD_X + 16}, 238.0, 550.0]"
    panel = f"min = [{BULKHEAD_X - 6}, -430.0, 0.0], max = [{BULKHEAD_X + 7.5}, 430.0, 565.0]"
    shaft = f"from = [{x}, {y - 40}, {z}], to = [{x2}, {y2}, {z2}], diameter = 36.0"
    where = {
        "frame rail": ("chassis", "chassis", f"box = {{ {rail} }}"),
        "left shaft": ("axle", "chassis", f"cylinder = {{ {shaft} }}"),
        "brake line": ("line", "chassis", f"box = {{ {line} }}"),
        "bulkhead": ("chassis", "chassis", f"box = {{ {panel} }}"),
        "wastegate actuator": ("actuator", "engine", 'file = "actuator.stl", unit = "cm"'),
        "everything else": ("chassis", "chassis", "rest = true"),
    }  # fmt: skip
    shield = {"brake line": "gap_shielded = 30.0\nshielded = false\n"}
    return "".join(
        f'\n[[zone]]\nname = "{name}"\nkind = "{kind}"\nrides = "{rides}"\nwhere = {{ {net} }}\n'
        f"gap = {GAPS[name]}\n{shield.get(name, '')}"
        for name, (kind, rides, net) in where.items()
    )
