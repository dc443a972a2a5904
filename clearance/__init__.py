"""Certified clearance of a part in a scanned engine bay over the engine's rock.

`check(job_file)` runs the main job, `place(job_file)` its registration alone; `write_results`
writes what `check` returns. `what_if` judges a job before and after moves, `room` tells which moves keep every
gap. Imported on first use, so that importing the package stays cheap.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from clearance.moves.room import room
    from clearance.moves.what_if import what_if
    from clearance.outputs.write import write_results
    from clearance.pipeline import check, place

__all__ = ["check", "place", "room", "what_if", "write_results"]


def __getattr__(name: str) -> Any:
    if name in ("check", "place"):
        from clearance import pipeline

        return getattr(pipeline, name)
    if name == "write_results":
        from clearance.outputs.write import write_results

        return write_results
    if name == "what_if":
        from clearance.moves.what_if import what_if

        return what_if
    if name == "room":
        from clearance.moves.room import room

        return room
    raise AttributeError(f"module 'clearance' has no attribute '{name}'")
