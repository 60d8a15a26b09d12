"""The contract of acquire/source.py as tests that a driver's author inherits.

    class TestMyBoard(SourceContract, Waits, Breaks):
        @contextmanager
        def make(self) -> Iterator[Source]:
            yield source_for("myboard:...")

Every driver keeps SourceContract. The mix-ins are for those to which they apply: Waits for one that can have nothing to
give for a while, Breaks for one whose stream can fail, Exact for one of which it is known what must come.
"""

import threading
from abc import ABC, abstractmethod
from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path
from typing import ClassVar

import pytest

from acquire.block import StreamInfo
from acquire.errors import CoilcallError, FormatError, SourceLost
from acquire.source import Source
from tests.contract.reading import Reading, held, joined

DEADLINE_S = 0.5
TRIES = 3
"""A machine that is busy may be late once; a source that is slow is late always."""

Make = Callable[[], AbstractContextManager[Source]]


class SourceContract(ABC):
    """What holds for every source. `folder` is an empty one, made anew for each test."""

    folder: Path

    @pytest.fixture(autouse=True)
    def _in_a_folder(self, tmp_path: Path) -> None:
        self.folder = tmp_path

    @abstractmethod
    def make(self) -> AbstractContextManager[Source]:
        """Make a fresh source, not opened, that gives at least one block; whatever feeds it runs inside the context."""

    def test_open_says_what_the_blocks_then_are(self) -> None:
        with self.make() as source, Reading(source) as reading:
            assert reading.first.wait(10.0)
            source.close()
            info = reading.result()
        assert isinstance(source, Source)
        _check_info(info)
        assert {(dtype, rows) for dtype, rows in reading.kinds} == {(info.dtype, len(info.channels))}

    def test_blocks_never_overlap_and_never_go_back(self) -> None:
        with self.make() as source, Reading(source, blocks=20) as reading:
            info = reading.result()
        assert reading.spans[0][0] >= 0
        assert all(first < end for first, end in reading.spans)
        assert all(first >= end for (_, end), (first, _) in zip(reading.spans, reading.spans[1:], strict=False))
        assert info.total_samples is None or reading.spans[-1][1] <= info.total_samples

    def test_a_source_that_was_never_opened_holds_nothing_and_can_be_closed_twice(self) -> None:
        with self.make() as source:
            before = held()
            source.close()
            source.close()
            with self.make():
                pass
            assert held() == before

    def test_closing_while_it_is_being_opened_ends_it_in_time(self) -> None:
        _assert_closes(self.make, lambda reading: reading.started)

    def test_closing_right_after_it_was_opened_ends_it_in_time(self) -> None:
        _assert_closes(self.make, lambda reading: reading.opened)

    def test_closing_in_the_midst_of_the_blocks_ends_it_in_time(self) -> None:
        _assert_closes(self.make, lambda reading: reading.first)

    def test_no_block_is_made_after_it_was_closed(self) -> None:
        with self.make() as source:
            source.open()
            source.close()
            assert sum(1 for _ in source.blocks()) <= 1  # one that had been read ahead does no harm

    def test_closed_before_it_is_opened_it_gives_nothing_and_keeps_nothing(self) -> None:
        with self.make() as source, Reading(source, close_first=True) as reading:
            assert reading.ended.wait(10.0)
        assert len(reading.spans) <= 1
        assert reading.error is None or isinstance(reading.error, CoilcallError)

    @pytest.mark.parametrize("blocks", [0, 1, 2])
    def test_no_thread_and_no_descriptor_stays_when_reading_is_given_up(self, blocks: int) -> None:
        with self.make() as source, Reading(source, blocks=blocks) as reading:
            reading.result()  # what a library keeps for ever it takes at its first use
        with self.make() as source:
            before = held()
            with Reading(source, blocks=blocks) as reading:
                reading.result()
            assert held() == before


class Waits:
    """For a source that can have nothing to give for a while."""

    @abstractmethod
    def make_silent(self) -> AbstractContextManager[Source]:
        """Make a source that has, in `open` or right after, nothing to give for more than a second."""

    def test_closing_while_it_waits_ends_it_in_time(self) -> None:
        _assert_closes(self.make_silent, lambda reading: reading.waiting)


class Breaks:
    """For a source whose stream can fail."""

    @abstractmethod
    def make_breaking(self) -> AbstractContextManager[Source]:
        """Make a source that opens and whose stream breaks off by itself, at the latest after some blocks."""

    def test_what_breaks_it_off_travels_in_the_stream_as_one_line_and_leaves_nothing(self) -> None:
        with self.make_breaking() as source:
            info = source.open()
            with pytest.raises((SourceLost, FormatError)) as caught:
                for _ in source.blocks():
                    pass
            source.close()
            assert info.channels
        assert len(str(caught.value).splitlines()) == 1
        assert not [thread for thread in threading.enumerate() if thread is not threading.main_thread()]


class Exact:
    """For a source of which it is known what must come. Mixed with SourceContract."""

    expected: ClassVar[list[tuple[int, int]]]
    """(first, end) of each run of samples without a gap."""

    @abstractmethod
    def make(self) -> AbstractContextManager[Source]:
        """See SourceContract."""

    def test_gaps_are_exactly_what_was_lost(self) -> None:
        end = self.expected[-1][1]
        with self.make() as source, Reading(source, end_index=end) as reading:
            reading.result()
        assert joined([(first, min(last, end)) for first, last in reading.spans if first < end]) == self.expected


def _check_info(info: StreamInfo) -> None:
    assert 0 < info.sample_rate_hz < 1e12
    assert info.dtype.kind == "i"
    names = [channel.input for channel in info.channels]
    assert len(set(names)) == len(names) > 0
    assert all(channel.volts_per_count and channel.low_count < channel.high_count for channel in info.channels)
    assert not info.is_live or (info.started_monotonic_s is not None and info.started_utc is not None)
    assert info.started_utc is None or info.started_utc.tzinfo is not None


def _assert_closes(make: Make, moment: Callable[[Reading], threading.Event]) -> None:
    in_time = []
    for _ in range(TRIES):
        with make() as source, Reading(source) as reading:
            assert moment(reading).wait(10.0)
            source.close()
            in_time.append(reading.ended.wait(DEADLINE_S))
        assert reading.error is None or isinstance(reading.error, CoilcallError)
        if in_time[-1]:
            return
    pytest.fail(f"not ended {DEADLINE_S} s after it was closed, {len(in_time)} times")
