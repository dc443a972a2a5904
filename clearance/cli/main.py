"""Run the command: every fault becomes one line and an exit code."""

from __future__ import annotations

import io
import os
import sys
from typing import NoReturn

import typer

from clearance.cli import arrange, checks, studies  # noqa: F401 - each adds its commands, in this order
from clearance.cli.app import app
from clearance.errors import ClearanceError, InputError, MissingLibraryError, StoppedError

BAD_INPUT, INTERNAL_FAULT, INTERRUPTED, NO_READER = 2, 4, 130, 141
STOPPED = "stopped; nothing was written"


def main() -> None:
    """Run the command; turn every fault into one line and an exit code."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that lacks a character gets a question mark
            stream.reconfigure(errors="replace")
    # Products of many points with 3 x 3 matrices gain nothing from threads that wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        code = app(standalone_mode=False)
    except (InputError, MissingLibraryError) as fault:
        _end(str(fault), BAD_INPUT)
    except SystemExit:  # how click ends, with 1, when the reader of a pipe goes away; 1 would mean fail here
        sys.exit(NO_READER)
    except MemoryError:
        _end("not enough memory; crop or thin the scan", BAD_INPUT)
    except (KeyboardInterrupt, typer.Abort):
        _end(STOPPED, INTERRUPTED)
    except StoppedError as fault:
        _end(str(fault), INTERRUPTED)
    except ClearanceError as fault:
        _end(f"internal fault: {fault}; no verdict", INTERNAL_FAULT)
    except Exception as fault:
        if hasattr(fault, "exit_code") and hasattr(fault, "format_message"):
            said = str(fault.format_message()).rstrip(".")
            _end(f"{said}; `clearance --help` tells the commands", BAD_INPUT)
        if os.environ.get("CLEARANCE_TRACE"):
            raise
        text = " ".join(str(fault).split()) or "no message"
        where = "(set CLEARANCE_TRACE=1 to see where)"
        _end(f"internal fault: {type(fault).__name__}: {text}; no verdict {where}", INTERNAL_FAULT)
    if code == INTERRUPTED:
        _end(STOPPED, INTERRUPTED)
    sys.exit(code or 0)


def _end(line: str, code: int) -> NoReturn:
    typer.echo(f"clearance: {line}", err=True)
    sys.exit(code)
