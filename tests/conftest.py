"""Shared by all tests: where the open data is, and how hypothesis searches."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import settings

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "tests" / "helpers"))
IN_CI = os.environ.get("CI") == "true"

settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if IN_CI else "here")


@pytest.fixture(scope="session")
def real_data() -> Path:
    """Folder of the open data. Skips where it was not fetched; in CI that is a failure."""
    folder = ROOT / ".cache" / "test_data"
    listed = subprocess.run(
        [sys.executable, str(ROOT / "scripts" / "fetch_test_data.py"), "--list"],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    lacking = [line for line in listed.stdout.splitlines() if line.endswith("missing") and not line.startswith("cgal")]
    if lacking:
        reason = f"{'; '.join(lacking)}; run: python scripts/fetch_test_data.py"
        if IN_CI:
            pytest.fail(reason)
        pytest.skip(reason)
    return folder
