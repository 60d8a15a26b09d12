"""Drawing: events into the volts of one chunk of samples.

An instrument cannot follow an edge faster than its sampling; its filter spreads a step over about two samples. Edges
are drawn as straight lines that long at least, so that a crossing interpolated between samples finds the true moment.
"""

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from drivers.simulated.traces import Pulse

Volts = NDArray[np.float32]

_LEAST_EDGE_SAMPLES = 2.0


class Canvas:
    """One chunk: where its samples lie in time, and the strokes that all signals are drawn with."""

    def __init__(self, first_index: int, samples: int, rate_hz: float, edge_s: float = 2e-6) -> None:
        self.first_index, self.samples, self.rate_hz = first_index, samples, rate_hz
        self._places = np.arange(samples, dtype=np.float64)
        self._edge = max(edge_s * rate_hz, _LEAST_EDGE_SAMPLES)

    @property
    def start_s(self) -> float:
        """Time of the first sample."""
        return self.first_index / self.rate_hz

    @property
    def end_s(self) -> float:
        """Time of the first sample after the chunk."""
        return (self.first_index + self.samples) / self.rate_hz

    def times_s(self, span: slice) -> NDArray[np.float64]:
        """Give the times of the samples in `span`."""
        return np.asarray((self._places[span] + self.first_index) / self.rate_hz)

    def whole(self, start_s: float, end_s: float) -> slice:
        """Find the samples from `start_s` to before `end_s`."""
        return slice(self._clip(math.ceil(self._place(start_s))), self._clip(math.ceil(self._place(end_s))))

    def touches(self, start_s: float, end_s: float, slack_s: float = 0.0) -> bool:
        """Tell whether any of it falls on this chunk, edges included."""
        slack_s += self._edge / self.rate_hz
        return start_s < self.end_s + slack_s and end_s > self.start_s - slack_s

    def shape(self, start_s: float, end_s: float, tail_s: float = 0.0) -> tuple[slice, NDArray[np.float64]]:
        """Give a pulse from 0 to 1 and back with half height at `start_s` and `end_s`.

        With a `tail_s` longer than a sample it falls exponentially with that time constant from `end_s` on; with a
        shorter one its fall is a straight edge, late by the time the exponential needs to its half.
        """
        tail = tail_s * self.rate_hz
        rise, fall = self._place(start_s), self._place(end_s)
        span = slice(
            self._clip(math.floor(rise - self._edge)), self._clip(math.ceil(fall + max(self._edge, 9.0 * tail)) + 1)
        )
        places = self._places[span]
        up = _ramp((places - rise) / self._edge)
        if tail <= 1.0:
            return span, up - _ramp((places - fall - math.log(2.0) * tail) / self._edge)
        return span, up * np.exp(np.minimum(fall - places, 0.0) / tail)

    def high_pulses(self, volts: Volts, pulses: Iterable[Pulse]) -> None:
        """Raise `volts` to each pulse's level."""
        for pulse in pulses:
            if self.touches(pulse.start_s, pulse.end_s):
                span, shape = self.shape(pulse.start_s, pulse.end_s)
                volts[span] += (pulse.level - volts[span]) * shape

    def blend(self, volts: Volts, start_s: float, end_s: float, to_v: float) -> None:
        """Bring `volts` to `to_v` for that time. What holds at the first sample of all has held for long."""
        if self.touches(start_s, end_s):
            span, shape = self.shape(
                max(start_s if start_s > 0.0 else -math.inf, self.start_s - 1.0), min(end_s, self.end_s + 1.0)
            )
            volts[span] += (to_v - volts[span]) * shape

    def pull(self, volts: Volts, rest: Volts, pulse: Pulse, tail_s: float) -> None:
        """Draw a pull from `rest` to the pulse's level, under what pulls already: several coils may do so at once."""
        if self.touches(pulse.start_s, pulse.end_s, 9.0 * tail_s):
            span, shape = self.shape(pulse.start_s, pulse.end_s, tail_s)
            volts[span] = np.minimum(volts[span], rest[span] + (pulse.level - rest[span]) * shape)

    def flip(self, volts: Volts, pulse: Pulse) -> None:
        """Push a logic level towards the other one for the pulse's time."""
        if self.touches(pulse.start_s, pulse.end_s):
            span, shape = self.shape(pulse.start_s, pulse.end_s)
            volts[span] += (5.0 - 2.0 * volts[span]) * shape

    def _place(self, time_s: float) -> float:
        return time_s * self.rate_hz - self.first_index

    def _clip(self, place: int) -> int:
        return min(max(place, 0), self.samples)


def _ramp(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.minimum(np.maximum(x + 0.5, 0.0), 1.0)
