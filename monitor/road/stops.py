"""When a log has gone on for long enough."""

import asyncio
import math
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from acquire.clock import Clock

MEASURE_EVERY_S = 2.0


@dataclass(frozen=True, slots=True)
class Terms:
    """How much to log: `duration_s`, and `size_bytes` on the disk, at most.

    Without the instrument it goes on for `retry_s`, then that is given up.
    """

    duration_s: float = math.inf
    size_bytes: float = math.inf
    retry_s: float = math.inf


class Stops:
    """Says when the terms are met. The time begins now."""

    def __init__(self, terms: Terms, folder: Path, clock: Clock) -> None:
        self._terms, self._folder, self._clock = terms, folder, clock
        self._until_s = clock.now() + terms.duration_s
        self._measure_at_s = clock.now()

    async def reason(self, analysed_s: float) -> str:
        """Why to stop; "" where there is no reason yet.

        The duration is over when so much has been analysed, or has gone by on the clock: an instrument that says
        nothing does not prolong it.
        """
        now_s = self._clock.now()
        if now_s >= self._until_s or analysed_s >= self._terms.duration_s:
            return f"{self._terms.duration_s:g} s are over"
        if math.isinf(self._terms.size_bytes) or now_s < self._measure_at_s:
            return ""
        self._measure_at_s = now_s + MEASURE_EVERY_S
        kept_bytes = await asyncio.to_thread(occupied_bytes, self._folder)
        return f"{kept_bytes / 1e6:.1f} MB are kept" if kept_bytes >= self._terms.size_bytes else ""


def occupied_bytes(folder: Path) -> int:
    """Bytes of all files in a folder and those below it; what is gone meanwhile counts nothing."""
    total = 0
    for below, _, names in os.walk(folder):
        for name in names:
            with suppress(OSError):
                total += (Path(below) / name).stat().st_size
    return total
