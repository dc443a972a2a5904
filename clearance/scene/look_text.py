"""A `Look` as lines for a person and as a dictionary for a program."""

from __future__ import annotations

from typing import Any

from clearance.frames import Array
from clearance.scene.densities import DENSITIES
from clearance.scene.look_result import Look, MeshFindings, ScanFindings


def as_lines(look: Look) -> list[str]:
    """Return what `clearance look` prints, one fact a line."""
    unit = look.length_unit
    kind = "mesh" if look.mesh else "scan"
    lines = [
        f"{look.path}: {look.format.upper()} {kind}",
        f"  box: {_triple(look.low)} to {_triple(look.high)} {unit}",
        *(f"  size if the unit is {u}: {_triple(extents)} mm" for u, extents in look.extents_mm.items()),
        f"  likely unit: {look.guess or 'none'} ({look.guess_reason}); only told, give the unit yourself",
    ]
    if look.mesh:
        lines += _mesh_lines(look.mesh, unit)
    if look.scan:
        lines += _scan_lines(look.scan, unit)
    return lines


def _mesh_lines(mesh: MeshFindings, unit: str) -> list[str]:
    """Return the lines about a mesh."""
    found = mesh.health
    lines = [f"  {mesh.triangles} triangles, {mesh.vertices} vertices, {found.pieces} pieces"]
    if mesh.degenerate:
        but = f", save for {mesh.bare} lines or points joined to no other triangle" if mesh.bare else ""
        lines.append(f"  {mesh.degenerate} triangles of zero area taken out; the surface is unchanged{but}")
    if found.watertight:
        lines.append("  closed: yes" + ("; inside out, all normals point inwards" if found.inside_out else ""))
    else:
        lines.append(
            f"  closed: no; {found.boundary_edges} open edges, {found.non_manifold_edges} edges of three or more "
            f"triangles, {found.flipped_edges} edges with flipped neighbours"
        )
    lines.append(f"  area: {found.area_mm2:.6g} {unit}²")
    if found.volume_mm3 is None:
        lines.append("  volume, wall and mass: not told, the mesh is not closed")
        return lines
    lines.append(f"  volume: {abs(found.volume_mm3):.6g} {unit}³")
    if mesh.wall:
        lines.append(
            f"  thinnest wall: about {mesh.wall.thinnest:.3g} {unit} near {_triple(mesh.wall.at)}, 1 % of the surface "
            f"below {mesh.wall.percentile_1:.3g} (sampled by {mesh.wall.rays} rays; thinner places may lie between)"
        )
    else:
        lines.append("  thinnest wall: not measured")
    if not mesh.mass_g:
        lines.append("  mass: not told without a unit")
    lines += [f"  mass in {d.material}: {mesh.mass_g[d.material]:.4g} g ({d.g_per_cm3} g/cm³, {d.source})"
              for d in DENSITIES if mesh.mass_g]  # fmt: skip
    return lines


def _scan_lines(scan: ScanFindings, unit: str) -> list[str]:
    """Return the lines about a scan."""
    share = 100.0 * scan.strays / scan.points
    return [
        f"  {scan.points} points" + (f", {scan.no_return} more without a return" if scan.no_return else ""),
        f"  spacing: {_spacing(scan, unit)}",
        f"  noise: {scan.noise:.3g} {unit}, 1 sigma about the local surface (a warp of the scan does not show here)",
        f"  steps of the coordinates: {scan.grain:.3g} {unit} ({scan.grain_why})"
        if scan.grain
        else "  steps of the coordinates: finer than found",
        f"  strays: {scan.strays} points that no neighbours support ({share:.3g} %)",
        "  holes are not judged: look at the scan yourself for places that were not seen",
    ]


def _spacing(scan: ScanFindings, unit: str) -> str:
    if scan.spacing is None:
        return "not told, too few different points"
    low, median, high = scan.spacing
    return f"median {median:.3g} {unit}, 5 to 95 % {low:.3g} to {high:.3g} (distance to the sixth neighbour)"


def as_dict(look: Look) -> dict[str, Any]:
    """Return the same facts for JSON."""
    told: dict[str, Any] = {
        "file": look.path.as_posix(), "format": look.format, "length_unit": look.length_unit,
        "low": look.low.tolist(), "high": look.high.tolist(),
        "extents_mm": {unit: extents.tolist() for unit, extents in look.extents_mm.items()},
        "guess": look.guess, "guess_reason": look.guess_reason,
    }  # fmt: skip
    if look.mesh:
        told["mesh"] = _mesh_dict(look.mesh)
    if look.scan:
        scan = look.scan
        told["scan"] = {
            "points": scan.points, "no_return": scan.no_return, "strays": scan.strays, "noise": scan.noise,
            "grain": scan.grain, "grain_why": scan.grain_why,
            "spacing": scan.spacing
            and dict(zip(("percentile_5", "median", "percentile_95"), scan.spacing, strict=True)),
        }  # fmt: skip
    return told


def _mesh_dict(mesh: MeshFindings) -> dict[str, Any]:
    """Return the facts about a mesh."""
    found, wall = mesh.health, mesh.wall
    return {
        "vertices": mesh.vertices, "triangles": mesh.triangles, "degenerate": mesh.degenerate,
        "bare": mesh.bare,
        "watertight": found.watertight, "inside_out": found.inside_out, "boundary_edges": found.boundary_edges,
        "non_manifold_edges": found.non_manifold_edges, "flipped_edges": found.flipped_edges, "pieces": found.pieces,
        "area": found.area_mm2, "volume": None if found.volume_mm3 is None else abs(found.volume_mm3),
        "wall": wall and {
            "thinnest": wall.thinnest, "at": wall.at.tolist(), "percentile_1": wall.percentile_1, "rays": wall.rays,
        },
        "mass_g": mesh.mass_g,
    }  # fmt: skip


def _triple(values: Array) -> str:
    """Print three numbers."""
    return " ".join(f"{value:.6g}" for value in values)
