"""The rules of the house: imports run one way, files stay small, every module imports alone and silently."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
MODULES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts)
    for path in (ROOT / "clearance").rglob("*.py")
    if path.name not in ("__init__.py", "__main__.py")
)
ROOMS_TOP_DOWN = [
    ("cli",), ("shield", "moves", "keepout", "pick", "verify"), ("pipeline",), ("outputs",), ("layout",), ("verdict",),
    ("access",), ("unseen",), ("heat",), ("motion",),
    ("registration", "distance"), ("scene",), ("job",), ("errors", "units", "frames", "bounds", "provenance"),
]  # fmt: skip


def test_imports_run_one_way():
    lint = Path(sys.executable).with_name("lint-imports")
    run = subprocess.run([lint, "--no-cache"], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stdout


def test_the_contract_names_every_room():
    named = {room for layer in ROOMS_TOP_DOWN for room in layer}
    present = {p.stem for p in (ROOT / "clearance").iterdir() if p.suffix == ".py" or (p / "__init__.py").exists()}
    assert present - {"__init__", "__main__"} == named
    contract = (ROOT / "pyproject.toml").read_text()
    assert all(f"clearance.{room}" in contract for room in named)


def test_files_stay_small():
    long = {p.name: n for p in (ROOT / "clearance").rglob("*.py") if (n := len(p.read_text().splitlines())) > 400}
    assert not long
    assert len((ROOT / "clearance" / "pipeline.py").read_text().splitlines()) < 100


def test_top_level_holds_what_was_agreed():
    agreed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "clearance", "scans_demo", "tests", "scripts"}
    ignored = {line.strip("/\n") for line in (ROOT / ".gitignore").read_text().splitlines()}
    visible = {p.name for p in ROOT.iterdir() if not p.name.startswith(".") and p.suffix != ".egg-info"}
    assert visible - ignored == agreed


IMPORT_ALONE = """
import importlib, os, sys
import numpy, scipy.spatial, scipy.stats, trimesh, pydantic, jinja2, PIL.ImageFont, typer
for name in sys.argv[1:]:
    child = os.fork()
    if child == 0:
        importlib.import_module(name)
        sys.stdout.flush()
        os._exit(0)
    if os.waitpid(child, 0)[1]:
        sys.exit(name + " cannot be imported alone")
"""


def test_every_module_imports_alone_and_says_nothing():
    run = subprocess.run(
        [sys.executable, "-c", IMPORT_ALONE, *MODULES], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert run.returncode == 0, run.stderr
    assert run.stdout == run.stderr == ""


def test_help_imports_nothing_heavy():
    code = (
        "import sys, clearance.cli\n"
        "heavy = {'numpy', 'scipy', 'trimesh', 'fcl', 'igl', 'open3d', 'laspy', 'pydantic'} & set(sys.modules)\n"
        "sys.exit(', '.join(sorted(heavy)) or None)"
    )
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
