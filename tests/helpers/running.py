"""Run the command in this process, as a user types it."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass

import pytest


@dataclass(frozen=True)
class Ended:
    """How a run of the command ended."""

    code: int
    out: str
    err: str


@pytest.fixture
def run(capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Ended]:
    """Run `clearance ARGS` in this process and tell exit code, stdout and stderr."""
    from clearance.cli import main

    def go(*arguments: object) -> Ended:
        monkeypatch.setattr(sys, "argv", ["clearance", *map(str, arguments)])
        capfd.readouterr()
        with pytest.raises(SystemExit) as end:
            main()
        out, err = capfd.readouterr()
        return Ended(int(end.value.code or 0), out, err)

    return go
