"""Sources for campaigns. Each writes down how far it has come, for whoever looks on from another process.

tests.bench.sources:engine?told=FILE&…     the simulated engine, with the keys of drivers/simulated/options.py;
                                           with `rest_s` it rests so long after each block
tests.bench.sources:repeated?told=FILE&…   `duration` seconds of it over and over: costs next to nothing at any rate
"""

import struct
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Event
from types import MappingProxyType

import numpy as np

from acquire.block import Counts, SampleBlock, StreamInfo
from acquire.clock import Clock, SystemClock
from acquire.source import Source
from drivers.address import Address
from drivers.simulated.options import engine_from
from drivers.simulated.source import SimulatedEngine

BLOCK_S = 0.02
_STEP = struct.Struct("<qd")


class Told:
    """A source that appends to a file, before each block it gives, the block's end and the monotonic time."""

    def __init__(self, inner: Source, path: Path, rest_s: float = 0.0) -> None:
        self._inner, self._path, self._rest_s = inner, path, rest_s
        self._stop = Event()

    def open(self) -> StreamInfo:
        return self._inner.open()

    def blocks(self) -> Iterator[SampleBlock]:
        with self._path.open("ab", buffering=0) as file:
            for block in self._inner.blocks():
                file.write(_STEP.pack(block.end_index, time.monotonic()))
                yield block
                self._stop.wait(self._rest_s)

    def close(self) -> None:
        self._stop.set()
        self._inner.close()


@dataclass(frozen=True, slots=True)
class Step:
    """By `at_s` (monotonic) everything before sample `end_index` had been given."""

    end_index: int
    at_s: float


def told_steps(path: Path) -> list[Step]:
    """Every step that was written down."""
    data = path.read_bytes() if path.exists() else b""
    return [Step(*found) for found in _STEP.iter_unpack(data[: len(data) // _STEP.size * _STEP.size])]


def told_end(path: Path) -> int:
    """How many samples have been given."""
    if not path.exists() or path.stat().st_size < _STEP.size:
        return 0
    with path.open("rb") as file:
        file.seek(file.seek(0, 2) // _STEP.size * _STEP.size - _STEP.size)
        end_index, _ = _STEP.unpack(file.read(_STEP.size))
    return int(end_index)


class Repeated:
    """A stretch of samples, shape (inputs, samples), over and over; with a clock it is live."""

    def __init__(self, info: StreamInfo, stretch: Counts, times: int | None = None, clock: Clock | None = None) -> None:
        self._info, self._stretch, self._clock = info, stretch, clock
        self._total = None if times is None else times * stretch.shape[1]
        self._block = round(BLOCK_S * info.sample_rate_hz) if clock else 1 << 16
        self._stop = Event()
        self._started_s = 0.0

    def open(self) -> StreamInfo:
        if self._clock is None:
            return replace(self._info, is_live=False, total_samples=self._total)
        self._started_s, utc = self._clock.now(), self._clock.utc()
        return replace(
            self._info, is_live=True, total_samples=None, started_monotonic_s=self._started_s, started_utc=utc
        )

    def blocks(self) -> Iterator[SampleBlock]:
        period, first = self._stretch.shape[1], 0
        while self._total is None or first < self._total:
            at = first % period
            counts = self._stretch[:, at : at + self._block]
            if not self._wait_for(first + counts.shape[1]):
                return
            yield SampleBlock(first, counts)
            first += counts.shape[1]

    def close(self) -> None:
        self._stop.set()

    def _wait_for(self, index: int) -> bool:
        while self._clock is not None and not self._stop.is_set():
            ahead_s = self._started_s + index / self._info.sample_rate_hz - self._clock.now()
            if ahead_s <= 0.0:
                break
            self._clock.wait(min(ahead_s, 0.25), self._stop)
        return not self._stop.is_set()


def drawn(engine: SimulatedEngine) -> tuple[StreamInfo, Counts]:
    """All samples of an engine that ends and has no clock."""
    info = engine.open()
    return info, np.concatenate([block.counts for block in engine.blocks()], axis=1)


def engine(address: Address) -> Told:
    """The simulated engine, telling how far it has come."""
    plain = engine_from(_without(address, "told", "rest_s"))
    return Told(plain, _told(address), address.number("rest_s", 0.0))


def repeated(address: Address) -> Told:
    """A stretch of the simulated engine over and over, paced by the machine's clock."""
    plain = _without(address, "told")
    stretch = engine_from(replace(plain, query=MappingProxyType({**plain.query, "pace": ("0",)})))
    return Told(Repeated(*drawn(stretch), clock=SystemClock()), _told(address))


def _without(address: Address, *keys: str) -> Address:
    query = {name: values for name, values in address.query.items() if name not in keys}
    return replace(address, path="", query=MappingProxyType(query))


def _told(address: Address) -> Path:
    path = address.string("told", None)
    if path is None:
        raise address.error("told", "name the file that says how far it has come")
    return Path(path)
