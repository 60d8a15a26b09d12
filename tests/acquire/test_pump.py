import asyncio
import threading
from collections.abc import Iterator

import pytest
from hypothesis import given, settings

from acquire.block import SampleBlock, StreamInfo
from acquire.errors import AddressError, FormatError, SourceLost
from acquire.pump import pumping
from acquire.source import Source
from tests.acquire.streams import ListSource, block_at, cuttings, ranges_of, stream_info, until
from tests.acquire.test_ring import drained


class WaitingSource:
    """Live; waits where it is told to until somebody closes it."""

    def __init__(self, waits_in: str) -> None:
        self._waits_in = waits_in
        self._closed = threading.Event()
        self.entered = asyncio.Event()
        self._loop = asyncio.get_running_loop()
        self.closed_by: list[str] = []

    def open(self) -> StreamInfo:
        self._wait("open")
        return stream_info(is_live=True)

    def blocks(self) -> Iterator[SampleBlock]:
        yield block_at(0, 3)
        self._wait("blocks")

    def close(self) -> None:
        self.closed_by.append(threading.current_thread().name)
        self._closed.set()

    def _wait(self, where: str) -> None:
        if where == self._waits_in:
            self._loop.call_soon_threadsafe(self.entered.set)
            self._closed.wait(30)


@given(blocks=cuttings())
@settings(max_examples=40)
def test_every_reader_of_a_file_sees_every_sample_however_small_the_ring(blocks: list[SampleBlock]) -> None:
    async def play() -> None:
        source = ListSource(stream_info(), blocks)
        async with pumping(source, segments=4, segment_samples=16) as (_, ring):
            readers = [ring.reader(), ring.reader()]
            results = await asyncio.gather(*(drained(reader) for reader in readers))
            assert [ranges_of(result) for result in results] == [ranges_of(blocks)] * 2
            assert all(reader.statistics().samples_lost == 0 for reader in readers)

    asyncio.run(play())


async def test_a_source_is_opened_read_and_closed_in_one_thread_of_its_own() -> None:
    source = ListSource(stream_info(), [block_at(0, 5)])
    assert isinstance(source, Source)
    async with pumping(source) as (info, ring):
        assert info == stream_info()
        await drained(ring.reader())
    calls, threads = zip(*source.calls, strict=True)
    assert calls == ("open", "blocks", "close", "close")
    assert threads[0] == threads[1] == threads[3] != threading.current_thread().name


async def test_a_live_source_overwrites_and_a_file_does_not() -> None:
    blocks = [block_at(first, 10) for first in range(0, 1000, 10)]
    async with pumping(ListSource(stream_info(is_live=True), blocks), segments=4, segment_samples=16) as (_, ring):
        reader = ring.reader()
        await until(lambda: ring.statistics().samples_written == 1000)
        await drained(reader)
        assert reader.statistics().samples_lost > 0


async def test_what_open_raises_is_raised_where_the_source_is_opened() -> None:
    class Absent(ListSource):
        def open(self) -> StreamInfo:
            raise AddressError("nothing there")

    source = Absent(stream_info(), [])
    with pytest.raises(AddressError, match="nothing there"):
        async with pumping(source):
            pytest.fail("a source that cannot be opened was handed over")
    assert [call for call, _ in source.calls] == ["close", "close"]


@pytest.mark.parametrize(
    ("raised", "expected"),
    [
        (SourceLost("unplugged"), SourceLost),
        (FormatError("row 7"), FormatError),
        (PermissionError(13, "Access is denied"), SourceLost),
    ],
)
async def test_an_error_travels_behind_the_last_sample(raised: Exception, expected: type[Exception]) -> None:
    async with pumping(ListSource(stream_info(), [block_at(0, 5)], raised)) as (_, ring):
        reader = ring.reader()
        assert (await anext(reader)).samples == 5
        with pytest.raises(expected):
            await anext(reader)


@pytest.mark.parametrize("waits_in", ["open", "blocks"])
@pytest.mark.parametrize("cancellations", [1, 2])
async def test_a_cancelled_pump_leaves_no_thread_and_a_closed_source(waits_in: str, cancellations: int) -> None:
    source = WaitingSource(waits_in)

    async def watch() -> None:
        async with pumping(source) as (_, ring):
            await drained(ring.reader())

    watching = asyncio.ensure_future(watch())
    await source.entered.wait()
    for _ in range(cancellations):
        watching.cancel()
        await asyncio.sleep(0)
    with pytest.raises(asyncio.CancelledError):
        await watching
    assert source.closed_by[-1].startswith("pump")


async def test_leaving_a_file_that_nobody_reads_ends_its_waiting_writer() -> None:
    blocks = [block_at(first, 10) for first in range(0, 1000, 10)]
    async with pumping(ListSource(stream_info(), blocks), segments=4, segment_samples=16) as (_, ring):
        await until(lambda: ring.statistics().fill == 1)
    assert ring.statistics().samples_written == 64
