"""Commands that arrange a job: new, look, pick, place."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from clearance.cli.app import EXIT, AsJson, JobFile, Quiet, app, print_json, progress


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
        print_json([as_dict(one) for one in seen])
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
    text = pick_page(scan, unit, around, lambda line: typer.echo(f"clearance: {line}", err=True))
    older = page.exists()
    write_pick_page(text, page)
    typer.echo(f"page: {page} ({'in place of the one that was there; ' if older else ''}open it in a browser)")


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
    placed = run_place(job, progress(quiet, job.stem))
    if placed.scan is not None:
        shown = placed.engine.mesh if placed.engine and placed.engine.mesh else placed.part.mesh
        write_placement_picture(placed.registration, shown, placed.scan.points, picture)
    if as_json:
        print_json(placement_record(placed.registration, placed.part.mesh))
    else:
        typer.echo("\n".join(placement_lines(placed.registration, placed.part.mesh)))
        if placed.scan is not None:
            typer.echo(f"picture: {picture}")
    raise typer.Exit(0 if placed.registration.converged else EXIT["undecided"])
