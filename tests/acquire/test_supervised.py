import math
import re
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire import stall
from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from acquire.errors import AddressError, FormatError, SourceLost
from acquire.outage import Policy
from acquire.source import Health, Source, health_of
from acquire.supervised import Supervised
from acquire.timeline import Timeline
from tests.contract.example import Square
from tests.contract.reading import held
from tests.contract.source_contract import SourceContract, Waits

RATE_HZ = 64.0
BLOCK = 8
INFO = StreamInfo("bench:", RATE_HZ, (ChannelInfo("in1", 0.001),), np.dtype(np.int32), is_live=True)


@pytest.fixture(autouse=True)
def _looked_at_often(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stall, "LOOK_EVERY_S", 0.001)


@dataclass
class Bench:
    """A clock that moves by whole samples, and an instrument whose sample k, of value k, is taken at k / RATE_HZ.

    Each life of the instrument is (ticks until it is open, blocks, how it ends).
    """

    lives: list[tuple[int, int, str]]
    ticks: int = 1000
    waits_s: list[float] = field(default_factory=list)
    made: list["Plugged"] = field(default_factory=list)
    on_wait: Callable[[], None] = lambda: None
    info: StreamInfo = INFO

    def now(self) -> float:
        return self.ticks / RATE_HZ

    def utc(self) -> datetime:
        return datetime(2026, 1, 1, tzinfo=UTC)

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        self.waits_s.append(seconds)
        self.ticks += math.ceil(seconds * RATE_HZ)
        self.on_wait()
        return stop.is_set()

    def make(self) -> "Plugged":
        self.made.append(Plugged(self, *(self.lives.pop(0) if self.lives else (0, 0, "end"))))
        return self.made[-1]

    def supervised(self, retry_s: float = math.inf) -> Supervised:
        # This clock runs away from those who look by the real one, by some seconds; it sleeps for minutes.
        return Supervised(self.make, Policy(retry_s, standstill_s=100.0), self)


class Plugged:
    """One life."""

    def __init__(self, bench: Bench, opening: int, blocks: int, end: str) -> None:
        self._bench, self._opening, self._blocks, self._end = bench, opening, blocks, end
        self.closed = threading.Event()

    def open(self) -> StreamInfo:
        self._bench.ticks += self._opening
        if self._end == "refused":
            raise AddressError("bench: nobody there")
        self._first = self._bench.ticks
        info = self._bench.info
        return (
            replace(info, sample_rate_hz=32.0)
            if self._end == "other"
            else replace(info, started_monotonic_s=self._bench.now())
        )

    def blocks(self) -> Iterator[SampleBlock]:
        for first in range(0, self._blocks * BLOCK, BLOCK):
            self._bench.ticks += BLOCK
            values = np.arange(first, first + BLOCK, dtype=np.int32) + self._first
            yield SampleBlock(first, values[np.newaxis])
        if self._end == "silent":
            self._keep_silent()
        if self._end == "asleep":
            self._bench.ticks += 312 * int(RATE_HZ)
            yield SampleBlock(self._blocks * BLOCK, np.full((1, BLOCK), -1, np.int32))  # what lay in some buffer
        if error := {"lost": SourceLost("bench: gone"), "os": OSError(5, "Input/output error")}.get(self._end):
            raise error

    def _keep_silent(self) -> None:
        """Let time pass while somebody looks, not at once."""
        for _ in range(10_000):
            self._bench.ticks += int(RATE_HZ / 4)
            if self.closed.wait(0.001):
                return
        raise AssertionError("nobody noticed the silence")

    def close(self) -> None:
        self.closed.set()


def read(source: Supervised) -> list[SampleBlock]:
    source.open()
    return list(source.blocks())


ENDS = ("lost", "os", "silent", "asleep", "refused")
LIVES = st.lists(st.tuples(st.integers(0, 90), st.integers(0, 20), st.sampled_from(ENDS)), max_size=8)


@given(LIVES, st.integers(0, 20), st.sampled_from(["lost", "os", "silent", "asleep"]))
@settings(max_examples=60)
def test_every_sample_stands_where_the_clock_says_however_often_it_was_lost(
    lives: Sequence[tuple[int, int, str]], blocks: int, end: str
) -> None:
    bench = Bench([(3, blocks, end), *lives, (0, 5, "end")])
    threads, _ = held()
    got = read(bench.supervised())
    assert held()[0] == threads
    assert all(one.closed.is_set() for one in bench.made)
    zero = 1000 + 3
    for block in got:
        np.testing.assert_array_equal(block.counts[0], np.arange(block.first_index, block.end_index) + zero)
    gave = [count for _, count, how in [(3, blocks, end), *lives] if how != "refused"]
    assert len(got) == sum(gave) + 5


def test_it_is_tried_again_after_half_a_second_and_after_ten_at_most() -> None:
    bench = Bench([(0, 1, "lost"), *[(0, 0, "refused")] * 7, (0, 1, "end")])
    read(bench.supervised())
    assert bench.waits_s == [0.5, 1.0, 2.0, 4.0, 8.0, 10.0, 10.0, 10.0]


def test_one_that_opens_and_gives_nothing_is_not_back() -> None:
    bench = Bench([(0, 1, "lost"), *[(0, 0, "lost")] * 3, (0, 1, "lost"), (0, 1, "end")])
    source = bench.supervised()
    read(source)
    assert bench.waits_s == [0.5, 1.0, 2.0, 4.0, 0.5]
    assert source.outage is not None
    assert source.outage.number == 2


def test_lost_and_back_are_told_with_their_times_and_reasons() -> None:
    bench = Bench([(0, 4, "os"), (0, 0, "refused"), (0, 1, "end")])
    source = bench.supervised()
    assert source.outage_s is None
    during: list[Any] = []
    bench.on_wait = lambda: during.append((source.outage, source.outage_s))
    read(source)
    (first, first_s), (second, _) = during
    assert (first.number, first.at_s, first.back_s, first_s) == (1, 0.5, None, 0.5)
    assert first.reason == "bench:: reading failed: [Errno 5] Input/output error"
    assert (second.attempts, second.refusal) == (1, "bench: nobody there")
    assert source.outage is not None
    assert source.outage.back_s is not None
    assert source.outage_s == pytest.approx(0.5 + 1.0 + BLOCK / RATE_HZ)


def test_silence_is_a_stall_and_what_it_was_is_said() -> None:
    bench = Bench([(0, 4, "silent"), (0, 1, "end")])
    source = bench.supervised()
    read(source)
    assert source.outage is not None
    said, silent_s = source.outage.reason.removesuffix(" s").rsplit(" ", 1)
    assert said == "bench:: nothing came for"
    assert Policy().least_stall_s <= float(silent_s)


def test_after_a_sleep_of_the_machine_samples_stand_where_the_clock_says_and_the_sleep_is_told() -> None:
    bench = Bench([(0, 4, "asleep"), (0, 1, "end")])
    source = bench.supervised()
    before, after = read(source)[-2:]
    assert after.first_index - before.end_index == (312 + 0.5) * RATE_HZ
    assert source.outage is not None
    assert re.match(r"bench:: nothing ran here for 31[2-4]\.\d s: the machine slept or", source.outage.reason)


def test_a_source_whose_blocks_are_long_is_given_longer_to_be_silent() -> None:
    block_time = stall.BlockTime(Policy())
    assert block_time.patience_s(is_first=True) > 60.0
    block_time.note(0.01)
    assert block_time.patience_s(is_first=False) == 1.0
    block_time.note(2.0)
    assert block_time.patience_s(is_first=False) == 16.0


@pytest.mark.parametrize("retry_s", [0.0, 3.0, 60.0])
def test_it_is_given_up_when_the_time_is_over_in_one_line_with_both_reasons(retry_s: float) -> None:
    bench = Bench([(0, 2, "lost"), *[(0, 0, "refused")] * 100])
    with pytest.raises(SourceLost) as caught:
        read(bench.supervised(retry_s))
    told = f"; not back within {retry_s:g} s; at last bench: nobody there" if retry_s else ""
    assert str(caught.value) == f"bench: gone{told}"
    assert sum(bench.waits_s) == pytest.approx(retry_s)


def test_another_instrument_in_its_place_is_refused() -> None:
    with pytest.raises(SourceLost, match="came back as another: 32 Hz where it was 64 Hz"):
        read(Bench([(0, 2, "lost"), (0, 1, "other")]).supervised())


def test_the_first_opening_fails_as_that_of_the_source_itself() -> None:
    with pytest.raises(AddressError, match="nobody there"):
        Bench([(0, 0, "refused")]).supervised().open()


def test_what_cannot_be_understood_is_not_tried_again() -> None:
    class Wrong(Plugged):
        def blocks(self) -> Iterator[SampleBlock]:
            yield from super().blocks()
            raise FormatError("bench: no samples these")

    bench = Bench([])
    with pytest.raises(FormatError):
        read(Supervised(lambda: Wrong(bench, 0, 0, "end"), clock=bench))


def test_one_that_is_not_live_is_handed_through_as_it_is() -> None:
    bench = Bench([(0, 2, "lost")], info=replace(INFO, is_live=False))
    with pytest.raises(SourceLost, match=r"^bench: gone$"):
        read(bench.supervised())
    assert len(bench.made) == 1


def test_frames_damaged_are_those_of_all_its_sources_and_the_clock_is_that_of_the_last() -> None:
    class Knowing(Plugged):
        @property
        def health(self) -> Health:
            return Health(clock_error_ppm=10.0 * len(bench.made), frames_damaged=3)

    bench = Bench([])
    lives = [(0, 2, "lost"), (0, 1, "end")]

    def make() -> Plugged:
        bench.made.append(Knowing(bench, *lives[len(bench.made)]))
        return bench.made[-1]

    source = Supervised(make, clock=bench)
    assert health_of(source) == Health(10.0, 3)
    assert len(read(source)) == 3
    assert health_of(source) == Health(20.0, 6)


def test_a_source_that_says_nothing_of_itself_knows_nothing() -> None:
    assert health_of(Bench([(0, 1, "end")]).supervised()) == Health(None, 0)


def test_closing_ends_the_wait_for_the_next_attempt() -> None:
    bench = Bench([(0, 2, "lost"), (0, 1, "end")])
    source = bench.supervised()
    bench.on_wait = source.close
    assert len(read(source)) == 2
    assert len(bench.made) == 1


def test_closing_during_an_attempt_closes_what_is_being_opened() -> None:
    bench = Bench([(0, 2, "lost")])

    class Slow(Plugged):
        def open(self) -> StreamInfo:
            source.close()
            assert self.closed.is_set()
            raise SourceLost("bench: closed before it was open")

    lives = iter([bench.make(), Slow(bench, 0, 0, "end")])
    source = Supervised(lambda: next(lives), clock=bench)
    assert len(read(source)) == 2


def test_what_the_two_clocks_have_parted_is_not_in_the_gap() -> None:
    rate_hz, fast = 1000.0, 1.0001
    info = replace(INFO, sample_rate_hz=rate_hz, started_monotonic_s=0.0)
    timeline = Timeline(info, 0.0)
    counts = np.zeros((1, 100), np.int32)
    for first in range(0, 3_600_000, 100):  # an hour of the board's clock
        timeline.place(SampleBlock(first, counts), (first + 100) / rate_hz / fast + 0.02)
    lost_s = 3600.0 / fast
    timeline.begin_again(replace(info, started_monotonic_s=lost_s + 7.0), lost_s + 7.1)
    placed = timeline.place(SampleBlock(0, counts), lost_s + 7.2)
    assert placed.first_index - 3_600_000 == pytest.approx(7.0 * rate_hz, abs=1.0)


class TestContract(SourceContract, Waits):
    @contextmanager
    def make(self) -> Iterator[Source]:
        yield Supervised(lambda: Square("square:", 10_000.0))

    @contextmanager
    def make_silent(self) -> Iterator[Source]:
        yield Supervised(lambda: Quiet("square:", 10_000.0))


class Quiet(Square):
    """Gives nothing."""

    def blocks(self) -> Iterator[SampleBlock]:
        self._closed.wait()
        yield from ()
