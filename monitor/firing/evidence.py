"""From an entry of the roll to its record: figures in milliseconds and volts, and what the feed did meanwhile."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from monitor.firing.records import Firing
from monitor.firing.rollcall import Turn
from monitor.firing.rota import Rota
from monitor.firing.timing import Timing
from monitor.signal.history import Samples
from monitor.signal.scale import Scale

Window = Callable[[int, int], Samples]
"""Counts on one wire from one tick to another; empty where they are not held."""


@dataclass(frozen=True, slots=True)
class Wire:
    """One wire's recent samples and what its counts mean."""

    window: Window
    scale: Scale


class Evidence:
    """Makes the record of a turn."""

    def __init__(self, rota: Rota, timing: Timing, tick_rate_hz: float, glitch_samples: int) -> None:
        """`glitch_samples` samples may stand out without being believed."""
        self._rota = rota
        self._timing = timing
        self._rate = tick_rate_hz
        self._glitch = glitch_samples
        self.supply: Wire | None = None
        self.lines: dict[int, Wire] = {}

    def record(self, turn: Turn) -> Firing:
        """Give the firing of this entry."""
        before_v, low_v = self._supply(turn)
        return Firing(
            turn=turn.number,
            cylinder=turn.cylinder,
            time_s=turn.tick / self._rate,
            outcome=turn.outcome,
            called=turn.called,
            dwell_ms=self._ms(turn.call.end - turn.call.start) if turn.call else None,
            acknowledgement_delay_ms=(
                self._ms(turn.answer.start - self._timing.origin(turn.call)) if turn.answer and turn.call else None
            ),
            acknowledgement_width_ms=self._ms(turn.answer.end - turn.answer.start) if turn.answer else None,
            acknowledgement_low_v=self._line_low(turn),
            supply_before_v=before_v,
            supply_low_v=low_v,
            speed_rpm=self._rota.rpm(turn.pace, self._rate),
        )

    def _ms(self, ticks: int) -> float:
        return ticks / self._rate * 1e3

    def _supply(self, turn: Turn) -> tuple[float | None, float | None]:
        """The feed shortly before the charge, and its lowest during the charge, glitches left out."""
        dwell = turn.call.end - turn.call.start if turn.call else self._timing.dwell
        if self.supply is None or not dwell:
            return None, None
        start = turn.tick - dwell
        before = self.supply.window(start - dwell // 4, start - dwell // 16)
        during = self.supply.window(start, turn.tick)
        if not len(before) or not len(during):
            return None, None
        lowest = self._lowest(during, self.supply.scale)
        return self.supply.scale.volt(_median(before)), self.supply.scale.volt(lowest)

    def _lowest(self, samples: Samples, scale: Scale) -> int:
        """The lowest volts in counts, as many samples left out as a glitch may spoil."""
        place = min(self._glitch, (len(samples) - 1) // 4)
        if scale.is_inverted:
            place = len(samples) - 1 - place
        return int(np.partition(samples, place)[place])

    def _line_low(self, turn: Turn) -> float | None:
        line = self.lines.get(turn.line) if turn.line is not None else None
        if line is None or turn.answer is None:
            return None
        samples = line.window(turn.answer.start, turn.answer.end)
        return line.scale.volt(_median(samples)) if len(samples) else None


def _median(samples: Samples) -> int:
    middle = len(samples) // 2
    return int(np.partition(samples, middle)[middle])
