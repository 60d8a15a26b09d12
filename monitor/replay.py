"""A recording at the pace of a clock: play, stand still, step, faster, slower, run to a place."""

import sys
import threading
from collections.abc import Iterator

from acquire.block import SampleBlock, StreamInfo
from acquire.clock import Clock
from acquire.source import Seekable, Source

SLOWEST, FASTEST = 1 / 8, 64.0
STEP_S = 0.1
"""What one step shows: a few turns at idle, about one cycle."""
_PIECE_S = 0.05
"""How much is handed on at once, in seconds of the clock: less than one frame of a screen."""


class Pace:
    """How far a replay may have got. Keys change it from one thread while the pump's thread waits on it."""

    def __init__(self, clock: Clock, speed: float = 1.0) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._speed = min(max(speed, SLOWEST), FASTEST)
        self._is_paused = False
        self._is_running = False
        self._free_s = 0.0
        self._reached_s = 0.0
        self._anchor_s = 0.0
        self._anchored_at: float | None = None

    @property
    def speed(self) -> float:
        """Recorded seconds per second."""
        return self._speed

    @property
    def is_paused(self) -> bool:
        """Whether it stands still."""
        return self._is_paused

    @property
    def is_running(self) -> bool:
        """Whether the place that it runs to is still to come."""
        return self._is_running

    @property
    def free_s(self) -> float:
        """The place up to which nobody waits for the clock."""
        return self._free_s

    def toggle_pause(self) -> None:
        """Stand still, or go on."""
        self._change(is_paused=not self._is_paused)

    def step(self) -> None:
        """Stand still after a short piece more."""
        self._change(is_paused=True, further_s=STEP_S)

    def faster(self) -> None:
        """Double the speed, up to the highest."""
        self._change(speed=min(self._speed * 2, FASTEST))

    def slower(self) -> None:
        """Halve the speed, down to the lowest."""
        self._change(speed=max(self._speed / 2, SLOWEST))

    def run_to(self, position_s: float, *, is_paused: bool) -> None:
        """Show everything before this position at once; then stand still, or go on from there."""
        with self._lock:
            self._set_free(position_s)
            self._is_running, self._is_paused = True, is_paused

    def begin_at(self, position_s: float) -> None:
        """The first sample comes at this position: nothing before it is waited for."""
        with self._lock:
            if position_s > self._free_s:
                self._set_free(position_s)

    def reaches(self, position_s: float, closed: threading.Event) -> bool:
        """Wait until the replay may show everything before this position; False once it was closed."""
        while not closed.is_set():
            wait_s = self._wait_s(position_s)
            if wait_s <= 0:
                return True
            self._clock.wait(min(wait_s, _PIECE_S), closed)
        return False

    def _set_free(self, position_s: float) -> None:
        self._free_s = self._reached_s = self._anchor_s = position_s
        self._anchored_at = None

    def _wait_s(self, position_s: float) -> float:
        """How long until the position is due; while it stands still, one piece at least."""
        with self._lock:
            if position_s <= self._free_s:
                return 0.0
            self._is_running = False
            now = self._clock.now()
            if self._anchored_at is None:
                self._anchored_at = now
            passed_s = 0.0 if self._is_paused else (now - self._anchored_at) * self._speed
            missing_s = position_s - self._anchor_s - passed_s
            # A nanosecond: positions are sums of fractions, and a step must end where it was meant to.
            if missing_s <= 1e-9:
                self._reached_s = position_s
                return 0.0
            return _PIECE_S if self._is_paused else missing_s / self._speed

    def _change(self, speed: float | None = None, is_paused: bool | None = None, further_s: float = 0.0) -> None:
        with self._lock:
            self._anchor_s = max(self._anchor_s, self._reached_s) if further_s and self._is_paused else self._reached_s
            self._anchor_s += further_s
            self._anchored_at = self._clock.now()
            self._speed = self._speed if speed is None else speed
            self._is_paused = self._is_paused if is_paused is None else is_paused


class PacedSource:
    """Any source that is not live, from a place on, handed on in small pieces when the pace says so."""

    def __init__(self, source: Source, pace: Pace, begin_s: float = 0.0, begins: frozenset[int] = frozenset()) -> None:
        """Nobody waits for what is missing before the samples that `begins` names."""
        self._source = source
        self._pace = pace
        self._begin_s = begin_s
        self._begins = begins
        self._rate_hz = 1.0
        self._closed = threading.Event()
        self.has_skipped = False
        """Whether there were samples before the place at which it began."""

    def open(self) -> StreamInfo:
        """Open the source beneath."""
        info = self._source.open()
        self._rate_hz = info.sample_rate_hz
        return info

    def blocks(self) -> Iterator[SampleBlock]:
        """The same samples, each piece as it falls due."""
        is_first = True
        for block in self._begun():
            if is_first or block.first_index in self._begins:
                self._pace.begin_at(block.first_index / self._rate_hz)
                is_first = False
            for piece in self._pieces(block):
                if not self._pace.reaches(piece.end_index / self._rate_hz, self._closed):
                    return
                yield piece

    def _begun(self) -> Iterator[SampleBlock]:
        """What does not lie before the beginning."""
        begin = round(self._begin_s * self._rate_hz)
        if isinstance(self._source, Seekable):
            self.has_skipped = any(self._source.blocks_between(0, begin))
            yield from self._source.blocks_between(begin, sys.maxsize)
            return
        for block in self._source.blocks():
            if self._closed.is_set():
                return
            skipped = min(max(begin - block.first_index, 0), block.samples)
            self.has_skipped |= skipped > 0
            if skipped < block.samples:
                yield SampleBlock(block.first_index + skipped, block.counts[:, skipped:])

    def _pieces(self, block: SampleBlock) -> Iterator[SampleBlock]:
        start = 0
        while start < block.samples:
            free = int(self._pace.free_s * self._rate_hz) - block.first_index - start
            usual = round(min(_PIECE_S * self._pace.speed, STEP_S) * self._rate_hz)
            samples = free if free > 0 else max(usual, 1)
            yield SampleBlock(block.first_index + start, block.counts[:, start : start + samples])
            start += samples

    def close(self) -> None:
        """Stop waiting and close the source beneath."""
        self._closed.set()
        self._source.close()
