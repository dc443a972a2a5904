"""What a reader says of a file that does not hold what it promises."""

from __future__ import annotations


class Damaged(ValueError):
    """The file does not hold what it promises; the message says what was found."""
