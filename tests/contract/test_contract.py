"""The contract itself: it sees what breaks it."""

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest

from acquire.block import SampleBlock, StreamInfo
from acquire.source import Source
from drivers.address import parse_address
from tests.contract import source_contract
from tests.contract.example import Square, open_square
from tests.contract.source_contract import Breaks, SourceContract


class Deaf(Square):
    """Ends only some time after it was closed."""

    def blocks(self) -> Iterator[SampleBlock]:
        yield from super().blocks()
        threading.Event().wait(1.0)


class Backward(Square):
    """Gives each block twice."""

    def blocks(self) -> Iterator[SampleBlock]:
        for block in super().blocks():
            yield block
            yield block


class Other(Square):
    """Gives another type than it said."""

    def blocks(self) -> Iterator[SampleBlock]:
        for block in super().blocks():
            yield SampleBlock(block.first_index, block.counts.astype(np.int32))


class Leaky(Square):
    """Leaves a descriptor open."""

    def open(self) -> StreamInfo:
        self.left = open("/dev/null", "rb")  # noqa: PTH123, SIM115
        return super().open()


class Quiet(Square):
    """Ends as if all were well."""

    def blocks(self) -> Iterator[SampleBlock]:
        yield next(super().blocks())


class Kept(SourceContract, Breaks):
    def __init__(self, kind: type[Square]) -> None:
        self._kind = kind

    @contextmanager
    def make(self) -> Iterator[Source]:
        yield self._kind("square:", 10_000.0)

    make_breaking = make


def test_one_that_ends_late_is_seen(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(source_contract, "DEADLINE_S", 0.1)
    with pytest.raises(pytest.fail.Exception, match="not ended"):
        Kept(Deaf).test_closing_in_the_midst_of_the_blocks_ends_it_in_time()


def test_one_that_goes_back_is_seen() -> None:
    with pytest.raises(AssertionError):
        Kept(Backward).test_blocks_never_overlap_and_never_go_back()


def test_one_that_gives_something_else_than_it_said_is_seen() -> None:
    with pytest.raises(AssertionError):
        Kept(Other).test_open_says_what_the_blocks_then_are()


def test_one_that_leaves_a_descriptor_is_seen() -> None:
    made: list[Leaky] = []

    class Noted(Leaky):
        def __init__(self, name: str, rate_hz: float) -> None:
            super().__init__(name, rate_hz)
            made.append(self)

    with pytest.raises(AssertionError):
        Kept(Noted).test_no_thread_and_no_descriptor_stays_when_reading_is_given_up(1)
    for one in made:
        one.left.close()


def test_one_whose_end_says_nothing_is_seen() -> None:
    with pytest.raises(pytest.fail.Exception, match="DID NOT RAISE"):
        Kept(Quiet).test_what_breaks_it_off_travels_in_the_stream_as_one_line_and_leaves_nothing()


def test_the_example_gives_samples_at_the_rate_it_says() -> None:
    source = open_square(parse_address("square:?rate=1000"))
    source.open()
    began_s = time.monotonic()
    end = next(source.blocks()).end_index
    source.close()
    assert 0 < end <= (time.monotonic() - began_s) * 1000.0 + 1.0
