import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.block import SampleBlock
from acquire.errors import FormatError, SourceLost
from acquire.ring import RingReader, SampleRing
from tests.acquire.streams import assert_true_to_index, block_at, cuttings, joined, ranges_of, stream_info


def live_ring(segments: int = 4, segment_samples: int = 16) -> SampleRing:
    return SampleRing(stream_info(is_live=True), overwrite=True, segments=segments, segment_samples=segment_samples)


def file_ring(segments: int = 4, segment_samples: int = 16) -> SampleRing:
    return SampleRing(stream_info(), overwrite=False, segments=segments, segment_samples=segment_samples)


async def drained(reader: RingReader) -> list[SampleBlock]:
    """Everything to the end; views are checked while they are good, and copied."""
    blocks = []
    async for block in reader:
        assert_true_to_index(block)
        blocks.append(SampleBlock(block.first_index, block.counts.copy()))
    return blocks


@dataclass
class Observer:
    """A reader that keeps count by itself."""

    reader: RingReader
    read: list[tuple[int, int]] = field(default_factory=list)
    holding: tuple[SampleBlock, SampleBlock] | None = None

    async def step(self) -> None:
        block = await anext(self.reader)
        assert_true_to_index(block)
        self.read.append((block.first_index, block.end_index))
        self.holding = (block, SampleBlock(block.first_index, block.counts.copy()))

    def assert_view_unchanged(self) -> None:
        if self.holding:
            np.testing.assert_array_equal(self.holding[0].counts, self.holding[1].counts)


@given(blocks=cuttings(), turns=st.lists(st.integers(0, 3), max_size=80))
@settings(max_examples=100)
def test_each_written_sample_is_read_or_exactly_told_lost_or_still_waiting(
    blocks: list[SampleBlock], turns: list[int]
) -> None:
    async def play() -> None:
        ring = live_ring()
        observers = [Observer(ring.reader()), Observer(ring.reader())]
        pending, written = list(blocks), []
        for turn in turns:
            if turn >= len(observers) and pending:
                written.append(pending.pop(0))
                assert ring.write(written[-1])
            elif turn < len(observers) and observers[turn].reader.statistics().lag_samples:
                await observers[turn].step()
            for observer in observers:
                observer.assert_view_unchanged()
        for observer in observers:
            while observer.reader.statistics().lag_samples:
                await observer.step()
            statistics = observer.reader.statistics()
            assert joined([*observer.read, *statistics.lost_ranges]) == ranges_of(written)
            assert statistics.samples_lost == sum(end - first for first, end in statistics.lost_ranges)
            assert statistics.samples_read == sum(end - first for first, end in observer.read)

    asyncio.run(play())


async def test_an_overtaken_reader_sees_the_jump_and_is_told_the_range() -> None:
    ring = live_ring(segments=4, segment_samples=16)
    reader = ring.reader()
    for first in range(0, 160, 16):
        ring.write(block_at(first, 16))
    assert (await anext(reader)).first_index == 96
    assert reader.statistics().lost_ranges == ((0, 96),)
    assert reader.statistics().samples_lost == 96


async def test_a_held_view_stays_as_it_was_while_the_ring_goes_round() -> None:
    ring = live_ring()
    reader = ring.reader()
    ring.write(block_at(0, 10))
    block = await anext(reader)
    for first in range(10, 1000, 30):
        ring.write(block_at(first, 30))
    assert_true_to_index(block)
    assert block.samples == 10


async def test_readers_get_read_only_views_of_the_same_memory() -> None:
    ring = live_ring()
    first, second = ring.reader(), ring.reader()
    ring.write(block_at(0, 10))
    one, other = await anext(first), await anext(second)
    assert np.shares_memory(one.counts, other.counts)
    with pytest.raises(ValueError, match="read-only"):
        one.counts[0, 0] = 1


async def test_a_reader_that_comes_late_starts_at_the_oldest_sample_kept() -> None:
    ring = live_ring(segments=4, segment_samples=16)
    for first in range(0, 160, 16):
        ring.write(block_at(first, 16))
    reader = ring.reader()
    assert (await anext(reader)).first_index == 96
    assert reader.statistics().samples_lost == 0


async def test_statistics_count_what_is_written_missing_kept_and_waiting() -> None:
    ring = live_ring(segments=4, segment_samples=16)
    reader = ring.reader()
    ring.write(block_at(0, 20))
    ring.write(block_at(25, 3))
    await anext(reader)
    statistics = ring.statistics()
    assert (statistics.samples_written, statistics.samples_missing, statistics.samples_kept) == (23, 5, 23)
    assert statistics.fill == 23 / 64
    assert statistics.readers[0].lag_samples == 7


async def test_readers_drain_what_is_kept_before_the_stream_ends() -> None:
    ring = live_ring()
    reader = ring.reader()
    ring.write(block_at(0, 20))
    ring.finish()
    assert ranges_of(await drained(reader)) == [(0, 20)]


async def test_an_error_reaches_every_reader_after_the_last_sample() -> None:
    ring = live_ring()
    readers = [ring.reader(), ring.reader()]
    ring.write(block_at(0, 5))
    ring.finish(SourceLost("made up: gone"))
    for reader in readers:
        assert (await anext(reader)).samples == 5
        with pytest.raises(SourceLost, match="gone"):
            await anext(reader)


async def test_a_sleeping_reader_is_woken_by_a_write_from_another_thread() -> None:
    ring = live_ring()
    reader = ring.reader()
    waiting = asyncio.ensure_future(anext(reader))
    await asyncio.sleep(0)
    await asyncio.sleep(0)
    await asyncio.to_thread(ring.write, block_at(0, 7))
    assert (await waiting).samples == 7


async def test_a_fast_writer_wakes_the_loop_once(monkeypatch: pytest.MonkeyPatch) -> None:
    ring = live_ring()
    loop = asyncio.get_running_loop()
    calls: list[Callable[..., object]] = []
    monkeypatch.setattr(loop, "call_soon_threadsafe", lambda call, *_: calls.append(call))
    waiting = asyncio.ensure_future(anext(ring.reader()))
    await asyncio.sleep(0)
    await asyncio.sleep(0)
    for first in range(100):
        ring.write(block_at(first, 1))
    assert len(calls) == 1
    calls[0]()
    assert (await waiting).samples > 0


async def test_a_writer_that_is_always_ahead_leaves_other_tasks_their_turn() -> None:
    ring = live_ring(segments=40)
    for first in range(0, 480, 16):
        ring.write(block_at(first, 16))
    ring.finish()
    turns = 0

    async def count() -> None:
        nonlocal turns
        while True:
            turns += 1
            await asyncio.sleep(0)

    counting = asyncio.ensure_future(count())
    await drained(ring.reader())
    counting.cancel()
    assert turns >= 30


async def test_closing_the_ring_ends_a_writer_that_waits() -> None:
    ring = file_ring(segments=4, segment_samples=16)
    assert ring.write(block_at(0, 64))
    waiting = asyncio.ensure_future(asyncio.to_thread(ring.write, block_at(64, 1)))
    await asyncio.sleep(0)
    ring.close()
    assert await waiting is False


async def test_a_files_writer_goes_on_when_its_slowest_reader_is_closed() -> None:
    ring = file_ring(segments=4, segment_samples=16)
    slow, reader = ring.reader(), ring.reader()
    writing = asyncio.ensure_future(asyncio.to_thread(ring.write, block_at(0, 500)))
    assert (await anext(reader)).first_index == 0
    assert ring.statistics().samples_written <= 64
    slow.close()
    seen = 0
    while seen < 500:
        seen = (await anext(reader)).end_index
    assert await writing
    with pytest.raises(StopAsyncIteration):
        await anext(slow)


async def test_a_file_refuses_a_reader_that_could_not_see_everything() -> None:
    ring = file_ring(segments=4, segment_samples=16)
    reader = ring.reader()
    ring.write(block_at(0, 64))
    await anext(reader)
    await anext(reader)
    ring.write(block_at(64, 1))
    with pytest.raises(RuntimeError, match="register every reader"):
        ring.reader()


async def test_more_readers_than_the_segments_can_serve_are_refused() -> None:
    ring = live_ring(segments=4)
    for _ in range(2):
        ring.reader()
    with pytest.raises(RuntimeError, match="at most 2 readers"):
        ring.reader()


@pytest.mark.parametrize(
    ("block", "reason"),
    [
        (block_at(4, 2), "starts at sample 4, not at 10 or later"),
        (block_at(10, 2, channels=3), "3 channels of int16, not 2 channels of int16"),
        (block_at(10, 2, dtype="int32"), "2 channels of int32, not 2 channels of int16"),
    ],
)
async def test_a_block_that_breaks_the_streams_promise_is_refused(block: SampleBlock, reason: str) -> None:
    ring = live_ring()
    ring.write(block_at(0, 10))
    with pytest.raises(FormatError, match=reason):
        ring.write(block)
