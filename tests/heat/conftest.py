"""Makes tests/helpers importable: the brute-force reference and the random scenes."""

from __future__ import annotations
