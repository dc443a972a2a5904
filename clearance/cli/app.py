"""The command itself, the options that several commands share, and how results reach the terminal.

Exit codes: 0 pass, 1 fail, 2 bad input, 3 undecided, 4 internal fault.
"""

from __future__ import annotations

import json
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.core import TyperGroup

if TYPE_CHECKING:
    from clearance.verdict.result import CheckResult

EXIT = {"pass": 0, "fail": 1, "undecided": 3}


class _Commands(TyperGroup):
    """The commands, each told by its whole first sentence."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for command in self.commands.values():
            command.short_help = command.short_help or (command.help or "").partition("\n")[0]


app = typer.Typer(
    cls=_Commands,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,  # Importing rich takes a third of the start.
    context_settings={"help_option_names": ["-h", "--help"]},
    help=(
        "Does a one-off part clear a scanned engine bay while the engine rocks? "
        "Exit codes: 0 pass, 1 fail, 2 bad input, 3 undecided, 4 internal fault. "
        "Results are an aid, not an approval: check on the car, cold and hot, before driving."
    ),
)

JobFile = Annotated[Path, typer.Argument(metavar="JOB", help="job file (TOML); `clearance new` writes one")]
AsJson = Annotated[bool, typer.Option("--json", help="print JSON for a program to read")]
Two = tuple[float, float] | None
Three = tuple[float, float, float] | None
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="no progress on stderr")]


@app.callback(invoke_without_command=True)
def _root(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


def progress(quiet: bool, name: str) -> Callable[[str], None]:
    """Return what a long step is told to, on stderr with `name` before it, or nothing."""
    from clearance.outputs.progress import Steps

    return (lambda step: None) if quiet else Steps(name, lambda line: typer.echo(line, err=True))


def print_json(tree: Any) -> None:
    """Print what a program would read."""
    typer.echo(json.dumps(tree, indent=2, allow_nan=False))


def print_summary(result: CheckResult, folder: Path) -> None:
    """Print the verdict, the zones and where the report is, as wide as the terminal."""
    from clearance.outputs.terminal import summary

    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower()
    width = shutil.get_terminal_size((100, 24)).columns
    typer.echo(summary(result, width=width, ascii_only="utf" not in encoding))
    typer.echo(f"report: {folder / 'report.html'}")
