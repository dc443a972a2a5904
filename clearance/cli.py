"""The `clearance` command: arguments in, lines and exit codes out. Everything heavy is imported where it is used.

Exit codes: 0 pass, 1 fail, 2 bad input, 3 undecided, 4 internal fault.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer
from typer.core import TyperGroup

from clearance.errors import ClearanceError, InputError, MissingLibraryError

if TYPE_CHECKING:
    from clearance.verdict.result import CheckResult

EXIT = {"pass": 0, "fail": 1, "undecided": 3}
BAD_INPUT, INTERNAL_FAULT, INTERRUPTED, NO_READER = 2, 4, 130, 141
STOPPED = "stopped; nothing was written"


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
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="no progress on stderr")]


@app.callback(invoke_without_command=True)
def _root(context: typer.Context) -> None:
    if context.invoked_subcommand is None:
        typer.echo(context.get_help())


@app.command()
def demo(
    out: Annotated[Path, typer.Option("--out", "-o", metavar="DIR", help="folder for the reports")] = Path(
        "demo_reports"
    ),
    scans: Annotated[Path | None, typer.Option(metavar="DIR", help="folder of the demo jobs and scans")] = None,
    quiet: Quiet = False,
) -> None:
    """Run the built-in scene: a kit roadster's manifold, as first drawn, mended, and with a hole in the scan."""
    from clearance.outputs.write import write_results
    from clearance.pipeline import check as run_check

    folder = scans or Path(__file__).resolve().parent.parent / "scans_demo"
    jobs = sorted(folder.glob("*.toml"))
    if not jobs:
        raise InputError(folder, "no demo jobs here", "give the source tree's folder: --scans .../scans_demo")
    for job in jobs:
        result = run_check(job, _progress(quiet, job.stem))
        write_results(result, out / job.stem)
        _print_summary(result, out / job.stem)
        typer.echo()


@app.command()
def new(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="file to write, such as job.toml")] = Path("job.toml"),
    keys: Annotated[bool, typer.Option("--keys", help="print every key of a job file instead; writes nothing")] = False,
) -> None:
    """Write a commented starter job, with an example part, that runs as it is."""
    if keys:
        from clearance.job.describe import describe

        typer.echo(describe())
        return
    from clearance.job.starter import write_starter

    for path in write_starter(job):
        typer.echo(f"wrote {path}")
    typer.echo(f"next: clearance check {job} -o report")


@app.command()
def look(
    files: Annotated[list[Path] | None, typer.Argument(metavar="FILE...", help="meshes and scans")] = None,
    materials: Annotated[bool, typer.Option("--materials", help="list the materials whose growth is known")] = False,
    unit: Annotated[str | None, typer.Option(help="unit of the coordinates: mm cm m in")] = None,
    as_json: AsJson = False,
) -> None:
    """Tell what a mesh or scan holds: size, likely unit, points, spacing, noise, closed or not, volume, mass."""
    if materials:
        from clearance.heat.materials_text import materials_text

        typer.echo(materials_text())
        return
    if not files:
        raise typer.BadParameter("name a mesh or a scan, or give --materials")
    from clearance.scene.look import as_dict, as_lines
    from clearance.scene.look import look as look_at

    seen = [look_at(path, unit) for path in files]
    if as_json:
        _print_json([as_dict(one) for one in seen])
        return
    typer.echo("\n\n".join("\n".join(as_lines(one)) for one in seen))


@app.command()
def place(
    job: JobFile,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help="picture, PNG; without it JOB_placement.png")
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Place the part in the bay, tell how surely, and draw the scan over it; nothing else."""
    from clearance.outputs.placement import placement_lines, placement_record
    from clearance.outputs.placement_picture import write_placement_picture
    from clearance.pipeline import place as run_place

    picture = out or Path(f"{job.stem}_placement.png")
    placed = run_place(job, _progress(quiet, job.stem))
    if placed.scan is not None:
        shown = placed.engine.mesh if placed.engine and placed.engine.mesh else placed.part.mesh
        write_placement_picture(placed.registration, shown, placed.scan.points, picture)
    if as_json:
        _print_json(placement_record(placed.registration, placed.part.mesh))
    else:
        typer.echo("\n".join(placement_lines(placed.registration, placed.part.mesh)))
        if placed.scan is not None:
            typer.echo(f"picture: {picture}")
    raise typer.Exit(0 if placed.registration.converged else EXIT["undecided"])


@app.command()
def check(
    job: JobFile,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="DIR", help="folder for the report; without it JOB_report")
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Check the part against every zone over the engine's rock and write the report."""
    from clearance.outputs.record import record
    from clearance.outputs.write import check_folder, write_results
    from clearance.pipeline import check as run_check

    folder = out or Path(f"{job.stem}_report")
    check_folder(folder)
    result = run_check(job, _progress(quiet, job.stem))
    if not quiet:
        typer.echo("writing the report", err=True)
    write_results(result, folder)
    if as_json:
        _print_json(record(result))
    else:
        _print_summary(result, folder)
    raise typer.Exit(EXIT[result.verdict.value])


@app.command()
def verify(
    report: Annotated[Path, typer.Argument(metavar="DIR", help="folder of a report that `clearance check` wrote")],
    quiet: Quiet = False,
) -> None:
    """Prove a finished report again from its inputs with another engine. Ends with 1 if something does not hold."""
    from clearance.verify.text import lines
    from clearance.verify.verify import verify as run_verify

    found = run_verify(report, _progress(quiet, report.name))
    typer.echo("\n".join(lines(found)))
    raise typer.Exit(found.exit_code)


def main() -> None:
    """Run the command; turn every fault into one line and an exit code."""
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


def _progress(quiet: bool, name: str) -> Callable[[str], None]:
    return (lambda step: None) if quiet else (lambda step: typer.echo(f"{name}: {step}", err=True))


def _print_json(tree: Any) -> None:
    typer.echo(json.dumps(tree, indent=2, allow_nan=False))


def _print_summary(result: CheckResult, folder: Path) -> None:
    from clearance.outputs.terminal import summary

    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower()
    width = shutil.get_terminal_size((100, 24)).columns
    typer.echo(summary(result, width=width, ascii_only="utf" not in encoding))
    typer.echo(f"report: {folder / 'report.html'}")
