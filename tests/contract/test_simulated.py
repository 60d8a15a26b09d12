from collections.abc import Iterator
from contextlib import contextmanager
from typing import ClassVar

from acquire.source import Source
from drivers.registry import source_for
from tests.contract.source_contract import Exact, SourceContract, Waits


class TestLiveEngine(SourceContract, Waits):
    @contextmanager
    def make(self) -> Iterator[Source]:
        yield source_for("simulated:?rate=20000")

    @contextmanager
    def make_silent(self) -> Iterator[Source]:
        yield source_for("simulated:?rate=1000&block=5000")


class TestEngineWithLostSamples(SourceContract, Exact):
    expected: ClassVar[list[tuple[int, int]]] = [(0, 2000), (2500, 4000)]

    @contextmanager
    def make(self) -> Iterator[Source]:
        fault = "fault=lost-samples,start_s=0.2,end_s=0.25"
        yield source_for(f"simulated:?rate=10000&duration=0.4&{fault}")
