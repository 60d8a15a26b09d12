"""The front of the analysis: samples into pulses on the agenda, at one memory pass an input."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

from acquire.block import Counts, StreamInfo
from monitor.agenda import Agenda
from monitor.signal import TICKS_PER_SAMPLE
from monitor.signal.clipping import ClippingFinder
from monitor.signal.edges import EdgeFinder, Thresholds
from monitor.signal.history import History, Samples
from monitor.signal.pulses import Overlong, Pulse, PulseFinder

CHUNK = 131_072
"""Samples taken together: a few inputs of it stay in the processor's cache."""
_KEEP_S = 2.0
"""Samples kept behind the newest, for looking at a turn once it is understood."""

_CLIPPED_S = 0.1
"""Clipping is told once for each such stretch of time."""

Taker = Callable[[Pulse | Overlong], None]


@dataclass(slots=True)
class _Watched:
    row: int
    edges: EdgeFinder
    pulses: PulseFinder
    longest: int
    take: Taker


@dataclass(frozen=True, slots=True)
class PulseShape:
    """What counts as a pulse: its active state, and from when to when it may last, in ticks."""

    active_high: bool
    shortest: int
    longest: int


class Front:
    """Watches inputs for pulses and keeps the latest samples for a second look."""

    def __init__(self, agenda: Agenda, info: StreamInfo) -> None:
        self._agenda = agenda
        self._keep = round(_KEEP_S * info.sample_rate_hz)
        self._history = History(len(info.channels), info.dtype, self._keep, CHUNK)
        self._watched: list[_Watched] = []
        self._hold = 0
        self._ranges: list[tuple[int, ClippingFinder, Callable[[int], None]]] = []
        self._stretch = max(round(_CLIPPED_S * info.sample_rate_hz), 1)
        self._info = info

    def watch(self, row: int, thresholds: Thresholds, shape: PulseShape, take: Taker) -> None:
        """Have `take` called with every pulse of the input in this row, at the instant of its end.

        One that lasts longer than shape.longest is given as Overlong at that instant, and again at its end.
        """
        finder = PulseFinder(active_high=shape.active_high, shortest=shape.shortest, longest=shape.longest)
        self._watched.append(_Watched(row, EdgeFinder(row, thresholds), finder, shape.longest, take))
        self._hold = max(self._hold, shape.shortest)

    def watch_range(self, row: int, take: Callable[[int], None]) -> None:
        """Have `take` called with the tick at which a stretch of a tenth of a second ends that was clipped."""
        channel = self._info.channels[row]
        self._ranges.append((row, ClippingFinder(channel.low_count, channel.high_count, self._stretch), take))

    def append(self, counts: Counts, first_index: int) -> None:
        """Take at most CHUNK samples that follow the last ones, and do what they make certain."""
        self._history.append(counts, first_index)
        seen_to = self._history.end * TICKS_PER_SAMPLE
        for watched in self._watched:
            edges = watched.edges.find(self._history, first_index)
            for pulse in watched.pulses.feed(edges, seen_to):
                self._enter(watched, pulse)
        for row, finder, tell in self._ranges:
            for end in finder.find(counts[row], first_index):
                self._agenda.at(end * TICKS_PER_SAMPLE, (6, row), partial(tell, end * TICKS_PER_SAMPLE))
        self._agenda.run(seen_to - self._hold)

    def skip(self, to_index: int) -> None:
        """Samples up to `to_index` will never come: do all that was certain before, forget what was under way."""
        self._agenda.run(to_index * TICKS_PER_SAMPLE)
        for watched in self._watched:
            watched.edges.reset()
            watched.pulses.reset()

    def samples(self, row: int, start: int, end: int) -> Samples:
        """One input's counts from tick `start` to `end`; empty where any are no longer, or never were, held."""
        first, last = -(-start // TICKS_PER_SAMPLE), end // TICKS_PER_SAMPLE + 1
        if first < self._agenda.now // TICKS_PER_SAMPLE - self._keep:
            return self._history.window(row, 0, 0)
        samples = self._history.window(row, first, last)
        return samples if len(samples) == last - first else samples[:0]

    def _enter(self, watched: _Watched, pulse: Pulse | Overlong) -> None:
        when = pulse.start + watched.longest if pulse.end is None else pulse.end
        self._agenda.at(when, (0, watched.row, pulse.start), lambda: watched.take(pulse))
