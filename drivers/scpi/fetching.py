"""The two ways of getting samples out: a stream without a gap, and one frame after the other."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass

import numpy as np

from acquire.block import Counts, SampleBlock
from acquire.clock import Clock
from acquire.errors import SourceLost
from drivers.scpi.dialect import Dialect, Frames, Position, Stream
from drivers.scpi.instrument import Instrument
from drivers.scpi.placing import Behind, ByHostClock, ByInstrument, Misplaced, Placing
from drivers.scpi.samples import SampleFormat
from drivers.scpi.wire import Silent, Wire

POLL_S = 0.01
"""Between two looks whether there is something to fetch; far below what anyone sees, and no load."""


@dataclass(frozen=True, slots=True)
class Link:
    """Everything that both ways need of an instrument that is set up."""

    name: str
    wire: Wire
    instrument: Instrument
    dialect: Dialect
    inputs: tuple[str, ...]
    rate_hz: float
    clock: Clock
    patience_s: float

    def place_of(self, position: Position | None) -> str:
        """Ask for the place of the next block, where that is a query of its own."""
        return "" if position is None or position.ask is None else self.wire.ask(position.ask)

    def fetch(self, query: str, expected_bytes: int | None = None) -> tuple[str, memoryview]:
        """Fetch one block; also what stood before it."""
        return self.wire.ask_data(query, self.dialect.data, expected_bytes)

    def decode(self, samples: SampleFormat, data: memoryview, query: str) -> Counts:
        """Give counts (channels, samples)."""
        try:
            return samples.decode(data)
        except ValueError as error:
            raise SourceLost(f"{self.name}: {query} brought {error}") from error

    def index(self, placing: Placing, told: str, armed_s: float, end_index: int) -> int:
        """Give the index of a block's first sample."""
        try:
            return placing.index(told, armed_s, end_index)
        except Misplaced as error:
            raise SourceLost(f"{self.name}: {error}") from error

    def pause(self) -> None:
        """Let the instrument alone for a moment."""
        self.clock.wait(POLL_S, self.wire.closing)


class StreamFetcher:
    """Armed once; every fetch brings what has come since the one before.

    Where a fetch is all there is to ask, the next one is sent before a block is given out, so that the instrument gets
    its answer ready meanwhile.
    """

    def __init__(self, link: Link, stream: Stream) -> None:
        self._link, self._stream = link, stream
        position = stream.position
        self._placing: Placing = ByInstrument(position, link.rate_hz) if position else Behind()
        self._samples = SampleFormat(link.dialect.data, len(link.inputs))
        self.counts = self._samples.counts
        self._is_one_query = stream.available is None and position is not None and position.before_block
        self._is_asked = False

    def arm(self) -> None:
        """Start."""
        self._link.instrument.do(self._stream.arm)

    def blocks(self) -> Iterator[SampleBlock]:
        """Fetch for ever. Raises SourceLost where data stay away for longer than an answer may take."""
        link, end_index = self._link, 0
        quiet_until = link.clock.now() + link.patience_s
        while True:
            told, data = self._next() if self._is_one_query else self._next_by_steps()
            if not len(data):
                if link.clock.now() >= quiet_until:
                    raise SourceLost(f"{link.name}: answers, but has had no samples for {link.patience_s:g} s")
                link.pause()
                continue
            counts = link.decode(self._samples, data, self._stream.fetch)
            block = SampleBlock(link.index(self._placing, told, 0.0, end_index), counts)
            end_index = block.end_index
            yield block
            quiet_until = link.clock.now() + link.patience_s

    def _next(self) -> tuple[str, memoryview]:
        wire, fetch = self._link.wire, self._stream.fetch
        if not self._is_asked:
            wire.begin(fetch)
        told, data = wire.read_data(fetch, self._link.dialect.data)
        self._is_asked = False
        with suppress(SourceLost):  # lost for the next block, but this one is whole
            wire.begin(fetch)
            self._is_asked = True
        return told, data

    def _next_by_steps(self) -> tuple[str, memoryview]:
        query = self._query()
        told = self._link.place_of(self._stream.position) if query else ""
        before, data = self._link.fetch(query) if query else ("", memoryview(b""))
        if self._stream.position is None:
            self._refuse_errors()
        return told or before, data

    def _query(self) -> str | None:
        """Word the next fetch; None where nothing is there to be fetched."""
        if self._stream.available is None:
            return self._stream.fetch
        answer = self._link.wire.ask(self._stream.available)
        if not answer.lstrip("+").isdigit():
            told = f"{self._stream.available} was answered with {answer[:64]!r}, no number"
            raise SourceLost(f"{self._link.name}: {told}")
        words = {"samples": str(int(answer))}
        return self._link.instrument.worded(self._stream.fetch, words) if int(answer) else None

    def _refuse_errors(self) -> None:
        """Break off at an error: nothing else tells here that samples were lost, and nothing how many."""
        if errors := self._link.instrument.errors():
            raise SourceLost(f"{self._link.name}: {'; '.join(errors[:3])}")


class FrameFetcher:
    """Armed for each frame of so many points; between two frames the engine goes unobserved."""

    def __init__(self, link: Link, frames: Frames, points: int) -> None:
        self._link, self._frames, self._points = link, frames, points
        position = frames.position
        self._placing: Placing = ByInstrument(position, link.rate_hz) if position else ByHostClock(link.rate_hz)
        self._is_by_input = "{input}" in frames.fetch
        self._samples = SampleFormat(link.dialect.data, 1 if self._is_by_input else len(link.inputs))
        self.counts = self._samples.counts
        self._armed_s = 0.0

    def arm(self) -> None:
        """Start a frame."""
        self._armed_s = self._link.clock.now()
        self._link.instrument.do(self._frames.arm)

    def blocks(self) -> Iterator[SampleBlock]:
        """Give frame after frame, for ever."""
        end_index = 0
        while True:
            self._wait()
            told = self._link.place_of(self._frames.position)
            before, counts = self._fetch()
            block = SampleBlock(self._link.index(self._placing, told or before, self._armed_s, end_index), counts)
            end_index = block.end_index
            yield block
            self.arm()

    def _wait(self) -> None:
        wait, link = self._frames.wait, self._link
        patience_s = self._points / link.rate_hz + link.patience_s
        until = link.clock.now() + patience_s
        while link.wire.ask(wait.ask, patience_s) != wait.done:
            if link.clock.now() >= until:
                raise Silent
            link.pause()

    def _fetch(self) -> tuple[str, Counts]:
        expected, query = self._samples.bytes_of(self._points), self._frames.fetch
        if not self._is_by_input:
            before, data = self._link.fetch(self._link.instrument.worded(query, {}), expected)
            return before, self._link.decode(self._samples, data, query)
        counts = np.empty((len(self._link.inputs), self._points), self.counts)
        for row, name in enumerate(self._link.inputs):
            before, data = self._link.fetch(self._link.instrument.worded(query, {"input": name}), expected)
            counts[row] = self._link.decode(self._samples, data, query)[0]
        return before, counts
