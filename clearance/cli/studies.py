"""Commands that ask what else: move, room, keepout, shield."""

from __future__ import annotations

import shutil
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from clearance.cli.app import EXIT, AsJson, JobFile, Quiet, Three, Two, app, print_json, progress


class Frame(StrEnum):
    """Frame of coordinates."""

    part = "part"
    bay = "bay"


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
    found, tree = run_move(job, moves_from(moves, shift, turn, about, of, zones), folder, progress(quiet, job.stem))
    print_json(tree) if as_json else typer.echo("\n".join(found))
    raise typer.Exit(EXIT[tree["cases"][-1]["verdict"]])


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
    found, tree, code = run_room(job, asked, how, folder, progress(quiet, job.stem))
    print_json(tree) if as_json else typer.echo("\n".join(found))
    raise typer.Exit(code)


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
        progress=progress(quiet, job.stem),
    )  # fmt: skip
    if found.mesh is not None:
        write_mesh(found.mesh, path, comment_of(found))
    if as_json:
        print_json(as_dict(found))
        return
    typer.echo("\n".join([*lines(found), *([f"mesh: {path}"] if found.mesh is not None else [])]))


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
    found = run_shield(job, progress(quiet, job.stem))
    if out is not None:
        write_shield(found, out)
    if as_json:
        print_json(record(found))
    else:
        typer.echo(summary(found, shutil.get_terminal_size((100, 24)).columns))
    raise typer.Exit(0 if found.enough else EXIT["fail"])
