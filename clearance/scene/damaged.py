"""What a reader says of a file that does not hold what it promises."""

from __future__ import annotations


class Damaged(ValueError):
    """The file does not hold what it promises; the message says what was found, `wanted` what would be right."""

    def __init__(self, found: str, wanted: str = "export the scan again") -> None:
        super().__init__(found)
        self.wanted = wanted
