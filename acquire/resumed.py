"""A source whose samples go on in a recording that was made before, on that recording's own time base."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime

from acquire.block import SampleBlock, StreamInfo
from acquire.clock import Clock
from acquire.source import Source

LEAST_PAUSE_S = 3.0
"""A civil clock places two runs no better than to some milliseconds, half a turn of a fast engine. So long a pause no
analysis carries a place in the firing order over: even at 200 rpm it is given up after 1.6 s."""


class Resumed:
    """Shifts a source's sample indices to where they stand in `recorded`, what `read_info` says of a recording.

    Its first sample goes where the civil clock says, (now - started) * rate, but never closer to the recording's end
    than LEAST_PAUSE_S.
    """

    def __init__(self, source: Source, recorded: StreamInfo, clock: Clock) -> None:
        self._source, self._recorded, self._clock = source, recorded, clock
        self.first_index = 0
        """Index at which the stream goes on; known when it is open."""
        self.doubt = ""
        """Why the time between the runs is not known, in words; "" where it is."""

    def open(self) -> StreamInfo:
        """Open the source; its stream is told of as one that began with the recording. Raises what that raises."""
        info, recorded = self._source.open(), self._recorded
        end_index = recorded.total_samples or 0
        index = self._index_at(info.started_utc or self._clock.utc())
        self.doubt = _doubt(index, end_index, recorded.sample_rate_hz)
        self.first_index = max(index or 0, end_index + round(LEAST_PAUSE_S * recorded.sample_rate_hz))
        return replace(
            info,
            started_utc=recorded.started_utc,
            started_monotonic_s=_earlier(info.started_monotonic_s, self.first_index / info.sample_rate_hz),
            total_samples=None if info.total_samples is None else info.total_samples + self.first_index,
            setup_toml=recorded.setup_toml,
        )

    def blocks(self) -> Iterator[SampleBlock]:
        """Give the source's blocks, each at its place in the recording."""
        return (SampleBlock(self.first_index + block.first_index, block.counts) for block in self._source.blocks())

    def close(self) -> None:
        """Close the source."""
        self._source.close()

    def _index_at(self, utc: datetime) -> int | None:
        """Where a moment stands in the recording; None where that does not say when it began."""
        started = self._recorded.started_utc
        return None if started is None else round((utc - started).total_seconds() * self._recorded.sample_rate_hz)


def _doubt(index: int | None, end_index: int, rate_hz: float) -> str:
    if index is None:
        return f"the recording does not say when it began, so it goes on {LEAST_PAUSE_S:g} s behind its end"
    if index < end_index:
        back_s = (end_index - index) / rate_hz
        return f"the clock went back by {back_s:.1f} s, so it goes on {LEAST_PAUSE_S:g} s behind its end"
    return ""


def _earlier(moment_s: float | None, by_s: float) -> float | None:
    return None if moment_s is None else moment_s - by_s
