"""The contract of every source, kept by an instrument that streams, one that takes frames, and by the standard's."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import ClassVar

import numpy as np

from acquire.block import StreamInfo
from acquire.source import Source
from drivers.registry import source_for
from tests.contract.source_contract import Breaks, Exact, SourceContract, Waits
from tests.drivers.scpi.server import Digitizer, HangUp, Tamper, noise, serving

NOISE = np.tile(noise(4000), 100)
FETCHES = ("DATA", "SENSe:DATA")


def mute(query: str, answer: bytes) -> bytes | None:
    """Say nothing where samples are asked for."""
    return None if query.startswith(FETCHES) else answer


def hanging_up_after(fetches: int) -> Tamper:
    """Reset the connection at a fetch."""
    seen = 0

    def tamper(query: str, answer: bytes) -> bytes:
        nonlocal seen
        seen += query.startswith(FETCHES)
        if seen > fetches:
            raise HangUp
        return answer

    return tamper


class Watched:
    """A source whose last close, in its own thread, waits until the far end has hung up as well.

    What is held open is counted for the whole process, and the far end lives in it.
    """

    def __init__(self, source: Source, idle: threading.Event) -> None:
        self._source, self._idle = source, idle
        self._owner: threading.Thread | None = None
        self.blocks = source.blocks

    def open(self) -> StreamInfo:
        self._owner = threading.current_thread()
        return self._source.open()

    def close(self) -> None:
        self._source.close()
        if self._owner is threading.current_thread():
            self._idle.wait(5.0)


class Instrument(SourceContract, Waits, Breaks):
    """An instrument on a port of this machine."""

    options: ClassVar[dict[str, object]]

    @contextmanager
    def _plugged_in(self, tamper: Tamper | None = None) -> Iterator[Source]:
        with serving(Digitizer(NOISE, dead=500, losses=[(8000, 9000)]), tamper) as server:
            yield Watched(source_for(server.address(**self.options)), server.idle)

    @contextmanager
    def make(self) -> Iterator[Source]:
        with self._plugged_in() as source:
            yield source

    @contextmanager
    def make_silent(self) -> Iterator[Source]:
        with self._plugged_in(mute) as source:
            yield source

    @contextmanager
    def make_breaking(self) -> Iterator[Source]:
        with self._plugged_in(hanging_up_after(9)) as source:
            yield source


class TestStream(Instrument, Exact):
    options: ClassVar = {"dialect": "example-stream"}
    expected: ClassVar = [(0, 8000), (9000, 29_000)]


class TestFrames(Instrument, Exact):
    options: ClassVar = {"dialect": "example-stream", "mode": "frames", "frame_s": 0.1}
    expected: ClassVar = [(first, first + 5000) for first in range(0, 27_500, 5500)]


class TestStandard(Instrument):
    options: ClassVar = {"frame_s": 0.1}
