"""Swap two folders in one step, so that at no moment neither is in place."""

from __future__ import annotations

import ctypes
import os
from pathlib import Path

HERE, EXCHANGE = -100, 2
"""AT_FDCWD and RENAME_EXCHANGE of Linux (renameat2(2))."""


def exchange(one: Path, other: Path) -> bool:
    """Swap two existing paths of one file system; False where the system cannot, and nothing was done."""
    try:
        rename = ctypes.CDLL(None, use_errno=True).renameat2
    except (OSError, AttributeError):
        return False
    return int(rename(HERE, os.fsencode(one), HERE, os.fsencode(other), EXCHANGE)) == 0
