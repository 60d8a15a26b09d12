"""Sources and a clock for the tests of everything that watches a stream."""

import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import cache

from acquire.block import SampleBlock, StreamInfo
from drivers.simulated.faults import Fault
from drivers.simulated.source import SimulatedEngine


@dataclass
class WaitingClock:
    """Time passes only while somebody waits; what is planned for a moment happens when it has come."""

    time_s: float = 100.0
    planned: list[tuple[float, Callable[[], None]]] = field(default_factory=list)

    def now(self) -> float:
        return self.time_s

    def utc(self) -> datetime:
        return datetime(2026, 1, 1, tzinfo=UTC)

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        self.time_s += seconds
        while self.planned and self.planned[0][0] <= self.time_s:
            self.planned.pop(0)[1]()
        return stop.is_set()


@cache
def engine_running(
    duration_s: float = 4.0, *, is_losing: bool = False, is_healthy: bool = False
) -> tuple[StreamInfo, tuple[SampleBlock, ...]]:
    """A six at idle, three leads at 20 kS/s, whose cylinder 4, unless healthy, does not answer between 1 s and 2 s."""
    faults = [] if is_healthy else [Fault("no-answer", 4, start_s=1.0, end_s=2.0)]
    if is_losing:
        faults.append(Fault("lost-samples", start_s=2.5, end_s=2.6))
    engine = SimulatedEngine(faults=faults, sample_rate_hz=20_000, duration_s=duration_s, block_samples=4096)
    info = engine.open()
    blocks = tuple(SampleBlock(block.first_index, block.counts.copy()) for block in engine.blocks())
    return info, blocks


class Played:
    """Given blocks, then an end, an error, or silence until it is closed."""

    def __init__(
        self,
        stream: tuple[StreamInfo, Sequence[SampleBlock]],
        *,
        error: Exception | None = None,
        is_endless: bool = False,
        **changes: object,
    ) -> None:
        self.info = replace(stream[0], **changes)  # type: ignore[arg-type]
        self._blocks = stream[1]
        self._error = error
        self._is_endless = is_endless
        self._closed = threading.Event()

    def open(self) -> StreamInfo:
        return self.info

    def blocks(self) -> Iterator[SampleBlock]:
        for block in self._blocks:
            if self._closed.is_set():
                return
            yield block
        if self._error is not None:
            raise self._error
        while self._is_endless and not self._closed.wait(0.05):
            pass

    def close(self) -> None:
        self._closed.set()

    @property
    def is_closed(self) -> bool:
        return self._closed.is_set()
