"""Where the samples of a source that was opened again stand in the stream that began with the first one."""

from collections import deque

from acquire.block import SampleBlock, StreamInfo

ARRIVALS = 8


class Timeline:
    """Gives every block its place: what the source counts itself, from where the host's clock says that it began.

    Index 0 of the stream was at the first `started_monotonic_s`. Over hours the source's clock and the host's part, by
    some 100 ppm; so what they have parted while it was there is taken out of the gap, by the least delay of the first
    and the last arrivals. A gap is then elapsed time * rate, good to the jitter of the delay.
    """

    def __init__(self, info: StreamInfo, now_s: float) -> None:
        self._rate_hz = info.sample_rate_hz
        self._zero_s = _started_s(info, now_s)
        self._begin(0)
        self.end_index = 0
        """Index after the last sample so far."""

    def place(self, block: SampleBlock, now_s: float) -> SampleBlock:
        """Put a block that has just arrived where it belongs."""
        placed = SampleBlock(self._first_index + block.first_index, block.counts) if self._first_index else block
        self.end_index = placed.end_index
        delay_s = now_s - placed.end_index / self._rate_hz
        if len(self._first_delays_s) < ARRIVALS:
            self._first_delays_s.append(delay_s)
        self._last_delays_s.append(delay_s)
        return placed

    def begin_again(self, info: StreamInfo, now_s: float) -> None:
        """Count on from here: the source was opened again. There is always a gap, however short."""
        if self._first_delays_s:
            self._zero_s += min(self._last_delays_s) - min(self._first_delays_s)
        index = round((_started_s(info, now_s) - self._zero_s) * self._rate_hz)
        self._begin(max(index, self.end_index + 1))

    def _begin(self, first_index: int) -> None:
        self._first_index = first_index
        self._first_delays_s: list[float] = []
        self._last_delays_s: deque[float] = deque(maxlen=ARRIVALS)


def _started_s(info: StreamInfo, now_s: float) -> float:
    return now_s if info.started_monotonic_s is None else info.started_monotonic_s
