"""Text of small jobs: a cube among solids."""

from __future__ import annotations

HEAD = """
[part]
file = "part.stl"
unit = "mm"
material = "316L"
tolerance = 0.0
[register]
method = "given"
"""


def solid_zone(where: str, gap: float, more: str = "", name: str = "zone") -> str:
    """A [[zone]] that is a body of its own."""
    return f'[[zone]]\nname = "{name}"\nkind = "chassis"\ngap = {gap}\nwhere = {{ {where}, solid = true }}\n{more}\n'
