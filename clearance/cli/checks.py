"""Commands that judge a part: demo, check, verify."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from clearance.cli.app import EXIT, AsJson, JobFile, Quiet, app, print_json, print_summary, progress
from clearance.errors import InputError


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

    folder = scans or Path(__file__).resolve().parents[2] / "scans_demo"
    jobs = sorted(folder.glob("*.toml"))
    if not jobs:
        raise InputError(folder, "no demo jobs here", "give the source tree's folder: --scans .../scans_demo")
    for job in jobs:
        result = run_check(job, progress(quiet, job.stem))
        write_results(result, out / job.stem)
        print_summary(result, out / job.stem)
        typer.echo()


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
    result = run_check(job, progress(quiet, job.stem))
    if not quiet:
        typer.echo("writing the report", err=True)
    write_results(result, folder)
    if as_json:
        print_json(record(result))
    else:
        print_summary(result, folder)
    raise typer.Exit(EXIT[result.verdict.value])


def _check_candidates(job: Path, parts: tuple[Path, ...], out: Path, quiet: bool) -> NoReturn:
    from clearance.outputs.compare import PAGE, folders, gravest, lines, page
    from clearance.outputs.write import check_folder, write_results
    from clearance.pipeline import check as run_check

    named = folders(parts)
    for name in named.values():
        check_folder(out / name)
    results = {name: run_check(job, progress(quiet, name), part) for part, name in named.items()}
    for name, result in results.items():
        write_results(result, out / name)
    (out / PAGE).write_text(page(results), encoding="utf-8")
    typer.echo("\n".join([*lines(results, shutil.get_terminal_size((100, 24)).columns), f"page: {out / PAGE}"]))
    raise typer.Exit(EXIT[gravest(results).value])


@app.command()
def verify(
    report: Annotated[Path, typer.Argument(metavar="DIR", help="folder of a report that `clearance check` wrote")],
    quiet: Quiet = False,
) -> None:
    """Prove a finished report again from its inputs with another engine. Ends with 1 if something does not hold."""
    from clearance.verify.text import lines
    from clearance.verify.verify import verify as run_verify

    found = run_verify(report, progress(quiet, report.name))
    typer.echo("\n".join(lines(found)))
    raise typer.Exit(found.exit_code)
