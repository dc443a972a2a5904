"""Feed broken files to the readers and the job file for a stated time, and keep what breaks them.

    python scripts/fuzz.py [--minutes 10] [--seed 1] [--keep DIR] [--only ply las ...]

Small sound files of every format are mutated (bits, bytes, cut, repeated, numbers made huge, lines moved)
and read in a child process with limits on memory and time. Sound ends are: read, or refused with a
ClearanceError. Findings are any other exception, a crash, a hang, or memory beyond the limit; each is kept
in DIR once per kind. Prints counts per format.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import re
import resource
import struct
import sys
import tempfile
import time
from collections import Counter
from multiprocessing.connection import Connection
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT)]

MEMORY = 3 << 30
"""Bytes of address space that reading a file of a few kB may take beyond what the libraries take."""

SECONDS = 20.0
"""Longest processor time that reading one small file may take."""

JOB = ROOT / "scans_demo" / "rev_a.toml"
"""The job of the corpus."""

Case = tuple[str, bytes]


def corpus() -> dict[str, bytes]:
    """Return a small sound file of every format."""
    import laspy
    import numpy as np
    import pye57
    import trimesh

    from clearance.scene.open3d_import import open3d

    rng, o3d = np.random.default_rng(1), open3d()
    points = rng.uniform(-200, 200, (60, 3))
    ball = trimesh.creation.icosphere(subdivisions=1, radius=60.0)
    found: dict[str, bytes] = {}
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for form in ("stl", "obj", "off", "glb", "3mf"):
            ball.export(folder / f"mesh.{form}")
        (folder / "ascii.stl").write_text(trimesh.exchange.stl.export_stl_ascii(ball))
        ball.export(folder / "mesh.ply")
        trimesh.PointCloud(points).export(folder / "points.ply")
        (folder / "ascii.ply").write_bytes(trimesh.exchange.ply.export_ply(ball, encoding="ascii"))
        cloud = o3d.geometry.PointCloud(o3d.utility.Vector3dVector(points))
        for kind, ascii_, packed in (("ascii", True, False), ("binary", False, False), ("packed", False, True)):
            o3d.io.write_point_cloud(str(folder / f"{kind}.pcd"), cloud, write_ascii=ascii_, compressed=packed)
        np.savetxt(folder / "points.xyz", points)
        np.savetxt(folder / "points.csv", points, delimiter=",", header="x,y,z", comments="")
        for form in ("las", "laz"):
            las = laspy.create(point_format=3, file_version="1.2")
            las.header.scales = np.full(3, 0.01)
            las.x, las.y, las.z = points.T
            las.write(folder / f"points.{form}")
        e57 = pye57.E57(str(folder / "points.e57"), mode="w")
        e57.write_scan_raw({f"cartesian{axis}": points[:, k] / 1000 for k, axis in enumerate("XYZ")})
        e57.close()
        for path in sorted(folder.iterdir()):
            found[path.name] = path.read_bytes()
    found["job.toml"] = JOB.read_bytes()
    return found


def mutated(data: bytes, chance: random.Random) -> bytes:
    """Return `data` broken in one to four ways."""
    broken = bytearray(data)
    for _ in range(chance.randint(1, 4)):
        broken = _broken(broken, chance) or bytearray(b"\0")
    return bytes(broken)


def _broken(data: bytearray, chance: random.Random) -> bytearray:
    # Headers decide most: half of all places are within the first 400 bytes.
    at = chance.randrange(min(len(data), 400) if chance.random() < 0.5 else len(data))
    way = chance.randrange(8)
    if way == 0:
        data[at] ^= 1 << chance.randrange(8)
    elif way == 1:
        data[at] = chance.choice((0, 1, 0x7F, 0x80, 0xFF, chance.randrange(256)))
    elif way == 2:
        return data[:at]
    elif way == 3:
        end = min(len(data), at + chance.randrange(1, 64))
        return data[:at] + data[at:end] * chance.choice((0, 2, 5)) + data[end:]
    elif way == 4:
        number = chance.choice((0, 1, 0x7FFFFFFF, 0xFFFFFFFF, 0x80000000, len(data), 10**6))
        data[at : at + 4] = struct.pack(chance.choice("<>") + "I", number)
    elif way == 5:
        data[at : at + 8] = struct.pack("<d", chance.choice((float("nan"), float("inf"), -1e308, 1e300, 0.0)))
    elif way == 6:
        numbers = list(re.finditer(rb"-?\d+", bytes(data[:4000])))
        if numbers:
            hit = chance.choice(numbers)
            new = chance.choice((b"0", b"-1", b"99999999999", b"4294967296", b"1e999", b"nan", b"1" * 400))
            return data[: hit.start()] + bytearray(new) + data[hit.end() :]
    else:
        lines = bytes(data).split(b"\n")
        i, j = chance.randrange(len(lines)), chance.randrange(len(lines))
        lines[i], lines[j] = lines[j], chance.choice((lines[i], b"", b"\xff\xfe", b"../../x"))
        return bytearray(b"\n".join(lines))
    return data


def read(name: str, path: Path) -> str:
    """Read a file as the program would; return how that ended."""
    from clearance.errors import ClearanceError
    from clearance.job.read import read_job
    from clearance.scene.look import look

    try:
        if name.endswith(".toml"):
            read_job(path)
        else:
            look(path, "m" if name.endswith(("e57", "glb")) else "mm")
    except ClearanceError:
        return "refused"
    except MemoryError:
        return "FOUND memory"
    except Exception as fault:
        return f"FOUND {type(fault).__name__}"
    return "read"


def _child(line: Connection) -> None:
    """Read files as their paths come, until told to stop."""
    from clearance.scene.look import look

    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 1)
    os.dup2(null, 2)
    assert look
    used = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (used + MEMORY, used + MEMORY))
    line.send("ready")
    while (case := line.recv()) is not None:
        line.send(read(*case))


class Reader:
    """A child process that reads; started anew where it crashed or hung."""

    def __init__(self) -> None:
        self._start()

    def _start(self) -> None:
        self._line, other = multiprocessing.Pipe()
        self._child = multiprocessing.get_context("spawn").Process(target=_child, args=(other,), daemon=True)
        self._child.start()
        other.close()
        self._line.recv()

    def ends(self, name: str, path: Path) -> str:
        """Return how reading a file ended."""
        self._line.send((name, path))
        before = self._used_s()
        try:
            while not self._line.poll(1.0):
                if self._used_s() > before + SECONDS:
                    break
            else:
                return str(self._line.recv())
            ended = "FOUND hang"
        except EOFError:
            self._child.join(5)
            ended = f"FOUND crash {self._child.exitcode}"
        self.stop()
        self._start()
        return ended

    def _used_s(self) -> float:
        """Return the processor time that the child has used, s: on a busy machine the clock tells nothing."""
        try:
            fields = Path(f"/proc/{self._child.pid}/stat").read_text().rsplit(")", 1)[1].split()
        except OSError:
            return 0.0
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def stop(self) -> None:
        """End the child."""
        self._child.kill()
        self._child.join()


def main() -> int:
    """Read the command line and run."""
    parser = argparse.ArgumentParser(description="Feed broken files to the readers.")
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--keep", type=Path, default=ROOT / ".cache" / "fuzz")
    parser.add_argument("--only", nargs="*", default=None, help="file types, such as ply las toml")
    options = parser.parse_args()
    chance, sound, reader = random.Random(options.seed), corpus(), Reader()
    names = [n for n in sound if options.only is None or n.rsplit(".", 1)[1] in options.only]
    counts, kinds = Counter[tuple[str, str]](), Counter[str]()
    end = time.monotonic() + 60 * options.minutes
    options.keep.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        for beside in re.findall(r'"([\w.]+\.(?:stl|ply))"', JOB.read_text()):
            (Path(folder) / beside).write_bytes(b"only has to be there")
        while time.monotonic() < end:
            name = chance.choice(names)
            data = mutated(sound[name], chance)
            path = Path(folder) / name
            path.write_bytes(data)
            ended = reader.ends(name, path)
            counts[name, ended.split()[0]] += 1
            if ended.startswith("FOUND"):
                kinds[f"{name}: {ended}"] += 1
                if kinds[f"{name}: {ended}"] == 1:
                    kept = options.keep / f"{ended.split(' ', 1)[1].replace(' ', '_')}_{options.seed}_{name}"
                    kept.write_bytes(data)
                    print(f"{name}: {ended}, kept as {kept}", flush=True)
    reader.stop()
    for name in names:
        print(f"{name}: " + ", ".join(f"{counts[name, end]} {end}" for end in ("read", "refused", "FOUND")))
    found = f"{sum(kinds.values())} findings of {len(kinds)} kinds"
    print(f"{sum(counts.values())} files in {options.minutes:g} minutes, {found}")
    return 1 if kinds else 0


if __name__ == "__main__":
    raise SystemExit(main())
