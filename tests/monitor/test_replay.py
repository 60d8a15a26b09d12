from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.block import ChannelInfo, SampleBlock, StreamInfo
from monitor.replay import FASTEST, SLOWEST, STEP_S, Pace, PacedSource
from tests.monitor.streams import WaitingClock

RATE_HZ = 1000.0


@dataclass
class Memory:
    """A recording of two channels in memory, in blocks of given lengths."""

    lengths: list[int]
    gap: int = 0
    closed: int = 0

    def open(self) -> StreamInfo:
        channels = (ChannelInfo("in1", 0.001), ChannelInfo("in2", 0.001))
        return StreamInfo("memory:", RATE_HZ, channels, np.dtype(np.int16))

    def blocks(self) -> Iterator[SampleBlock]:
        first = 0
        for length in self.lengths:
            ramp = np.arange(first, first + length, dtype=np.int16)
            yield SampleBlock(first, np.stack([ramp, -ramp]))
            first += length + self.gap

    def close(self) -> None:
        self.closed += 1


def played(
    source: Memory, pace: Pace, clock: WaitingClock, closes_at: float | None = None, begin_s: float = 0.0
) -> list[tuple[float, SampleBlock]]:
    """Every piece with the moment it was handed on, from the start; closed at a time of the clock, if at all."""
    paced = PacedSource(source, pace, begin_s)
    if closes_at is not None:
        clock.planned.append((closes_at, paced.close))
    paced.open()
    started = clock.now()
    return [(clock.now() - started, piece) for piece in paced.blocks()]


@given(st.lists(st.integers(1, 500), min_size=1, max_size=8), st.integers(0, 100), st.sampled_from([0.125, 1.0, 64.0]))
def test_the_same_samples_come_out_whatever_the_pieces(lengths: list[int], gap: int, speed: float) -> None:
    clock = WaitingClock()
    pieces = [piece for _, piece in played(Memory(lengths, gap), Pace(clock, speed), clock)]
    indices = np.concatenate([np.arange(piece.first_index, piece.end_index) for piece in pieces])
    expected = np.concatenate([np.arange(b.first_index, b.end_index) for b in Memory(lengths, gap).blocks()])
    np.testing.assert_array_equal(indices, expected)
    np.testing.assert_array_equal(np.concatenate([piece.counts for piece in pieces], axis=1), [expected, -expected])


@pytest.mark.parametrize("speed", [0.125, 1.0, 4.0])
def test_each_piece_is_handed_on_when_its_last_sample_is_due(speed: float) -> None:
    clock = WaitingClock()
    for moment_s, piece in played(Memory([700, 300]), Pace(clock, speed), clock):
        assert moment_s == pytest.approx(piece.end_index / RATE_HZ / speed, abs=1e-6)


def test_a_gap_takes_the_time_it_took() -> None:
    clock = WaitingClock()
    pieces = played(Memory([100, 100], gap=2000), Pace(clock), clock)
    assert pieces[-1][0] == pytest.approx(2.2)


def test_nothing_comes_while_it_stands_still_and_then_it_goes_on_from_there() -> None:
    clock = WaitingClock()
    pace = Pace(clock)
    clock.planned = [(100.4, pace.toggle_pause), (103.4, pace.toggle_pause)]
    moments = [moment_s for moment_s, _ in played(Memory([1000]), pace, clock)]
    assert not [moment_s for moment_s in moments if 0.45 < moment_s < 3.4]
    assert moments[-1] == pytest.approx(4.0, abs=0.11)


def test_a_step_shows_one_step_more_and_stands_still() -> None:
    clock = WaitingClock()
    pace = Pace(clock)
    pace.toggle_pause()
    clock.planned = [(101.0, pace.step), (102.0, pace.step), (103.0, pace.step)]
    pieces = played(Memory([1000]), pace, clock, closes_at=104.0)
    assert pace.is_paused
    assert pieces[-1][1].end_index == round(3 * STEP_S * RATE_HZ)


def test_steps_asked_for_faster_than_they_are_shown_add_up() -> None:
    clock = WaitingClock()
    pace = Pace(clock)
    pace.toggle_pause()
    for _ in range(4):
        pace.step()
    assert played(Memory([1000]), pace, clock, closes_at=104.0)[-1][1].end_index == round(4 * STEP_S * RATE_HZ)


def test_a_change_of_speed_counts_from_where_it_is() -> None:
    clock = WaitingClock()
    pace = Pace(clock)
    clock.planned = [(100.5, pace.faster)]
    assert played(Memory([1500]), pace, clock)[-1][0] == pytest.approx(1.0, abs=0.1)


def test_speed_stays_within_its_bounds() -> None:
    pace = Pace(WaitingClock(), 1.0)
    for _ in range(20):
        pace.faster()
    assert pace.speed == FASTEST
    for _ in range(20):
        pace.slower()
    assert pace.speed == SLOWEST


def test_closing_ends_a_replay_that_stands_still() -> None:
    clock = WaitingClock()
    source, pace = Memory([1000]), Pace(clock)
    paced = PacedSource(source, pace)
    pace.toggle_pause()
    clock.planned = [(100.2, paced.close)]
    paced.open()
    assert list(paced.blocks()) == []
    assert source.closed == 1


def test_what_lies_before_a_place_to_run_to_is_handed_on_at_once_to_the_sample_and_then_it_stands_still() -> None:
    clock = WaitingClock()
    pace = Pace(clock)
    pace.run_to(0.6543, is_paused=True)
    pieces = played(Memory([700, 300]), pace, clock, closes_at=103.0)
    assert [moment_s for moment_s, _ in pieces] == [0.0]
    assert pieces[-1][1].end_index == 654
    assert not pace.is_running


def test_after_a_run_it_goes_on_from_there_at_its_speed() -> None:
    clock = WaitingClock()
    pace = Pace(clock, 2.0)
    pace.run_to(0.5, is_paused=False)
    assert pace.is_running
    pieces = played(Memory([1000]), pace, clock)
    assert pieces[-1][0] == pytest.approx(0.25, abs=0.01)


def test_a_run_ahead_ends_a_wait_and_a_step_counts_from_where_it_ended() -> None:
    clock = WaitingClock()
    pace = Pace(clock)
    clock.planned = [(100.2, lambda: pace.run_to(0.8, is_paused=True)), (101.0, pace.step)]
    pieces = played(Memory([1000]), pace, clock, closes_at=104.0)
    assert [round(piece.end_index / RATE_HZ, 2) for moment_s, piece in pieces if moment_s > 0.3][-1] == 0.9


def test_samples_that_begin_late_are_not_waited_for() -> None:
    clock = WaitingClock()

    class Clip(Memory):
        def blocks(self) -> Iterator[SampleBlock]:
            return (SampleBlock(one.first_index + 5_000_000, one.counts) for one in super().blocks())

    pieces = played(Clip([100, 100]), Pace(clock), clock)
    assert pieces[0][1].first_index == 5_000_000
    assert pieces[-1][0] == pytest.approx(0.2, abs=1e-6)


@given(st.lists(st.integers(1, 500), min_size=1, max_size=8), st.integers(0, 3000))
def test_from_a_place_on_the_same_samples_come_out_and_none_before_it(lengths: list[int], begin: int) -> None:
    clock = WaitingClock()
    pieces = [piece for _, piece in played(Memory(lengths), Pace(clock), clock, begin_s=begin / RATE_HZ)]
    indices = [index for piece in pieces for index in range(piece.first_index, piece.end_index)]
    assert indices == list(range(begin, sum(lengths)))


@given(st.lists(st.integers(1, 500), min_size=1, max_size=8), st.integers(0, 3000))
def test_a_source_that_can_begin_anywhere_is_not_read_before_the_place(lengths: list[int], begin: int) -> None:
    class Anywhere(Memory):
        def blocks(self) -> Iterator[SampleBlock]:
            raise AssertionError("read from its first sample")

        def blocks_between(self, first_index: int, end_index: int) -> Iterator[SampleBlock]:
            for block in super().blocks():
                first, end = max(block.first_index, first_index), min(block.end_index, end_index)
                if first < end:
                    yield SampleBlock(first, block.counts[:, first - block.first_index : end - block.first_index])

    clock = WaitingClock()
    paced = PacedSource(Anywhere(lengths), Pace(clock), begin / RATE_HZ)
    paced.open()
    indices = [index for piece in paced.blocks() for index in range(piece.first_index, piece.end_index)]
    assert indices == list(range(begin, sum(lengths)))
    assert paced.has_skipped is (begin > 0)
