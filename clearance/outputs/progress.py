"""Lines that tell how far a run has come and about how long its zones still take. Imports nothing heavy."""

from __future__ import annotations

import re
import time
from collections.abc import Callable

ZONE = re.compile(r"zone (\d+) of (\d+)\b")
WORTH_TELLING_S = 5.0


class Steps:
    """A progress callback: call it with what is begun; `write` gets the line.

    From the second zone on the line ends with an estimate: the time the zones took so far, evenly, for those left.
    """

    def __init__(self, name: str, write: Callable[[str], None], clock: Callable[[], float] = time.monotonic) -> None:
        self._name, self._write, self._clock = name, write, clock
        self._began = clock()

    def __call__(self, step: str) -> None:
        """Tell that a step begins."""
        self._write(f"{self._name}: {step}{self._left(step)}")

    def _left(self, step: str) -> str:
        found = ZONE.match(step)
        if found is None:
            return ""
        number, count = int(found[1]), int(found[2])
        if number == 1:
            self._began = self._clock()
            return ""
        left = (self._clock() - self._began) / (number - 1) * (count - number + 1)
        return f" (about {duration(left)} left for the zones)" if left >= WORTH_TELLING_S else ""


def duration(seconds: float) -> str:
    """Return a rough time in words: to 5 s below a minute and a half, to the minute above."""
    if seconds < 90:
        return f"{max(5, 5 * round(seconds / 5))} s"
    return f"{round(seconds / 60)} min"
