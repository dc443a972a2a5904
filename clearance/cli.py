"""The `clearance` command: arguments in, lines and exit codes out. Everything heavy is imported where it is used.

Exit codes: 0 pass, 1 fail, 2 bad input, 3 undecided, 4 internal fault.
"""

from __future__ import annotations

import io
import json
import os
import shutil
import sys
from collections.abc import Callable
from enum import StrEnum
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


class Frame(StrEnum):
    """Frame of coordinates."""

    part = "part"
    bay = "bay"


JobFile = Annotated[Path, typer.Argument(metavar="JOB", help="job file (TOML); `clearance new` writes one")]
AsJson = Annotated[bool, typer.Option("--json", help="print JSON for a program to read")]
Two = tuple[float, float] | None
Three = tuple[float, float, float] | None
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
def pick(
    scan: Annotated[Path, typer.Argument(metavar="SCAN", help="point cloud or mesh of the bay")],
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help="page, HTML; without it SCAN_pick.html")
    ] = None,
    unit: Annotated[str | None, typer.Option(help="unit of the coordinates: mm cm m in")] = None,
    around: Annotated[
        tuple[float, float, float, float] | None,
        typer.Option(metavar="X Y Z RADIUS", help="mm: take only this part of the scan, every point of it"),
    ] = None,
) -> None:
    """Write an offline page on which points, holes, studs and boxes are picked for the job file."""
    from clearance.pick.page import pick_page, write_pick_page

    page = out or Path(f"{scan.stem}_pick.html")
    write_pick_page(pick_page(scan, unit, around), page)
    typer.echo(f"page: {page} (open it in a browser)")


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
    part: Annotated[
        list[Path] | None, typer.Option(metavar="FILE", help="a candidate in place of the job's part; give several")
    ] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Check the part against every zone over the engine's rock and write the report."""
    if part:
        _check_candidates(job, tuple(part), out or Path(f"{job.stem}_candidates"), quiet)
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


def _check_candidates(job: Path, parts: tuple[Path, ...], out: Path, quiet: bool) -> NoReturn:
    from clearance.outputs.compare import PAGE, folders, gravest, lines, page
    from clearance.outputs.write import check_folder, write_results
    from clearance.pipeline import check as run_check

    named = folders(parts)
    for name in named.values():
        check_folder(out / name)
    results = {name: run_check(job, _progress(quiet, name), part) for part, name in named.items()}
    for name, result in results.items():
        write_results(result, out / name)
    (out / PAGE).write_text(page(results), encoding="utf-8")
    typer.echo("\n".join([*lines(results, shutil.get_terminal_size((100, 24)).columns), f"page: {out / PAGE}"]))
    raise typer.Exit(EXIT[gravest(results).value])


@app.command()
def move(
    job: JobFile,
    shift: Annotated[Three, typer.Option(metavar="X Y Z", help="mm, after the turn")] = None,
    turn: Annotated[tuple[str, float] | None, typer.Option(metavar="AXIS DEG", help="axis: x, y, z or 0,0,1")] = None,
    about: Annotated[
        Three, typer.Option(metavar="X Y Z", help="mm, the point that the turn leaves where it is")
    ] = None,
    of: Annotated[str, typer.Option(help="engine, transmission or part")] = "engine",
    zones: Annotated[str | None, typer.Option(help="zones that go along, with commas between")] = None,
    moves: Annotated[Path | None, typer.Option(metavar="FILE", help="several moves: TOML, [[move]] tables")] = None,
    out: Annotated[Path | None, typer.Option("--out", "-o", metavar="DIR", help="without it JOB_move")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Move engine, transmission or part and tell what changes: every zone before and after."""
    from clearance.moves.move_command import moves_from
    from clearance.moves.run_move import run_move

    folder = out or Path(f"{job.stem}_move")
    found, tree = run_move(job, moves_from(moves, shift, turn, about, of, zones), folder, _progress(quiet, job.stem))
    _print_json(tree) if as_json else typer.echo("\n".join(found))
    raise typer.Exit(EXIT[tree["cases"][-1]["verdict"]])


@app.command()
def shield(
    job: JobFile,
    out: Annotated[Path | None, typer.Option("--out", "-o", metavar="DIR", help="folder for page, JSON, maps")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Tell what gap each zone with a limit needs of the hot part, bare and shielded. Ends with 1 if there is none."""
    from clearance.shield.record import record
    from clearance.shield.shield import shield as run_shield
    from clearance.shield.text import summary
    from clearance.shield.write import check_folder, write_shield

    if out is not None:
        check_folder(out)
    found = run_shield(job, _progress(quiet, job.stem))
    if out is not None:
        write_shield(found, out)
    if as_json:
        _print_json(record(found))
    else:
        typer.echo(summary(found, shutil.get_terminal_size((100, 24)).columns))
    raise typer.Exit(0 if found.enough else EXIT["fail"])


@app.command()
def room(
    job: JobFile,
    x: Annotated[Two, typer.Option(metavar="LOW HIGH", help="mm, range of shifts")] = None,
    y: Annotated[Two, typer.Option(metavar="LOW HIGH", help="mm")] = None,
    z: Annotated[Two, typer.Option(metavar="LOW HIGH", help="mm")] = None,
    rx: Annotated[Two, typer.Option(metavar="LOW HIGH", help="degrees, range of the rotation vector")] = None,
    ry: Annotated[Two, typer.Option(metavar="LOW HIGH", help="degrees")] = None,
    rz: Annotated[Two, typer.Option(metavar="LOW HIGH", help="degrees")] = None,
    of: Annotated[str, typer.Option(help="engine, transmission or part")] = "engine",
    zones: Annotated[str | None, typer.Option(help="zones that go along, with commas between")] = None,
    about: Annotated[Three, typer.Option(metavar="X Y Z", help="mm, the point that turns leave where it is")] = None,
    step: Annotated[tuple[float, float], typer.Option(metavar="MM DEG", help="resolution")] = (1.0, 0.25),
    weight: Annotated[float, typer.Option(metavar="MM", help="mm that 1 degree counts as")] = 5.0,
    most: Annotated[int, typer.Option(help="distances asked at most; what is left then is undecided")] = 5_000_000,
    resume: Annotated[bool, typer.Option("--resume", help="take finished cells of an interrupted run")] = False,
    cluster: Annotated[str | None, typer.Option(metavar="ADDRESS", help="Dask scheduler to send cells to")] = None,
    workers: Annotated[int | None, typer.Option(help="processes on this machine; without it all cores")] = None,
    out: Annotated[Path | None, typer.Option("--out", "-o", metavar="DIR", help="without it JOB_room")] = None,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Tell which moves of a range keep every gap, and the smallest that does. Ends with 1 if provably none does."""
    from clearance.moves.run_room import asked_for, run_room
    from clearance.moves.solve import How

    ranges = {"x": x, "y": y, "z": z, "rx": rx, "ry": ry, "rz": rz}
    asked = asked_for(ranges, of, zones, about, step, weight, most)
    how, folder = How(resume=resume, cluster=cluster, workers=workers), out or Path(f"{job.stem}_room")
    found, tree, code = run_room(job, asked, how, folder, _progress(quiet, job.stem))
    _print_json(tree) if as_json else typer.echo("\n".join(found))
    raise typer.Exit(code)


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


@app.command()
def keepout(
    job: JobFile,
    out: Annotated[
        Path | None, typer.Option("--out", "-o", metavar="FILE", help=".stl or .ply; without it JOB_keepout.stl")
    ] = None,
    resolution: Annotated[float, typer.Option(help="mm, spacing of the grid")] = 4.0,
    margin: Annotated[float, typer.Option(help="mm about the part, where no region is given")] = 50.0,
    region: Annotated[
        tuple[float, float, float, float, float, float] | None, typer.Option(help="box, low corner then high, mm")
    ] = None,
    frame: Annotated[Frame, typer.Option(help="frame of the box and the mesh")] = Frame.part,
    as_json: AsJson = False,
    quiet: Quiet = False,
) -> None:
    """Write the solid that the part must stay out of, over all motions, gaps and guards included."""
    from clearance.keepout.keepout import keep_out
    from clearance.keepout.write import as_dict, check_file, comment_of, lines, write_mesh

    path = out or Path(f"{job.stem}_keepout.stl")
    check_file(path)
    found = keep_out(
        job, resolution_mm=resolution, margin_mm=margin, region=region, frame=frame.value,
        progress=_progress(quiet, job.stem),
    )  # fmt: skip
    if found.mesh is not None:
        write_mesh(found.mesh, path, comment_of(found))
    if as_json:
        _print_json(as_dict(found))
        return
    typer.echo("\n".join([*lines(found), *([f"mesh: {path}"] if found.mesh is not None else [])]))


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
    from clearance.outputs.progress import Steps

    return (lambda step: None) if quiet else Steps(name, lambda line: typer.echo(line, err=True))


def _print_json(tree: Any) -> None:
    typer.echo(json.dumps(tree, indent=2, allow_nan=False))


def _print_summary(result: CheckResult, folder: Path) -> None:
    from clearance.outputs.terminal import summary

    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower()
    width = shutil.get_terminal_size((100, 24)).columns
    typer.echo(summary(result, width=width, ascii_only="utf" not in encoding))
    typer.echo(f"report: {folder / 'report.html'}")
