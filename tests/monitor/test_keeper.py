"""A session on disks that fail: the analysis goes on, what can be kept is kept, and what cannot is said and booked."""

import asyncio
import errno
import io
import queue
import shutil
import threading
from collections.abc import AsyncIterator, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from dataclasses import astuple, dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from itertools import islice
from pathlib import Path
from unittest.mock import Mock

import numpy as np
import pytest

from acquire.block import SampleBlock, StreamInfo
from acquire.cursor import ReaderStatistics
from acquire.errors import CoilcallError
from acquire.recording import Rollover, read_blocks, read_info
from acquire.ring import RingReader, SampleRing
from monitor.disk_terms import DiskTerms, Surroundings
from monitor.entries import Entries
from monitor.keeper import Keeper
from monitor.live import Options, Session, session
from monitor.trouble import RETRY_S
from tests.acquire.streams import block_at, joined, stream_info, until
from tests.monitor.streams import Played, engine_running
from tests.monitor.test_live import analysed, rows

FULL = OSError(errno.ENOSPC, "No space left on device")


@dataclass
class SetClock:
    """Stands until it is set."""

    time_s: float = 50.0
    utc_now: datetime = datetime(2026, 1, 1, tzinfo=UTC)

    def now(self) -> float:
        return self.time_s

    def utc(self) -> datetime:
        return self.utc_now

    def wait(self, seconds: float, stop: threading.Event) -> bool:
        raise NotImplementedError


@dataclass
class Disk:
    """Takes sample files only while it is not full, and only when it may go on."""

    is_full: bool = False
    may_go_on: threading.Event = field(default_factory=threading.Event)
    clock: SetClock = field(default_factory=SetClock)

    def __post_init__(self) -> None:
        self.may_go_on.set()

    def open(self, path: Path) -> io.RawIOBase:
        if self.is_full:
            raise FULL
        disk = self

        class File(io.FileIO):
            def write(self, data: object) -> int:
                disk.may_go_on.wait()
                if disk.is_full:
                    raise FULL
                return super().write(data)  # type: ignore[arg-type]

        return File(path, "xb")


class Fed:
    """Gives the blocks it is told to give, when it is told."""

    def __init__(self) -> None:
        self.info, self.stream = engine_running(8.0)
        self._blocks: queue.Queue[SampleBlock | None] = queue.Queue()
        self.given = 0

    def give(self, count: int) -> None:
        for block in self.stream[self.given : self.given + count]:
            self._blocks.put(block)
        self.given += count

    def open(self) -> StreamInfo:
        return self.info

    def blocks(self) -> Iterator[SampleBlock]:
        while (block := self._blocks.get()) is not None:
            yield block

    def close(self) -> None:
        self._blocks.put(None)


@asynccontextmanager
async def kept(folder: Path, source: Fed, disk: Disk, **terms: object) -> AsyncIterator[Session]:
    disk_terms = replace(DiskTerms(clock=disk.clock, opener=disk.open), **terms)  # type: ignore[arg-type]
    async with session(source, Options(folder=folder, disk=disk_terms)) as running:
        yield running


def samples(folder: Path) -> tuple[list[int], np.ndarray]:
    blocks = list(read_blocks(folder, read_info(folder)))
    indices = [np.arange(block.first_index, block.end_index) for block in blocks]
    return np.concatenate(indices).tolist(), np.concatenate([block.counts for block in blocks], axis=1)


def end_s(source: Fed) -> float:
    return source.stream[source.given - 1].end_index / source.info.sample_rate_hz


async def test_a_full_disk_stops_no_analysis_and_samples_go_on_once_there_is_room(tmp_path: Path) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    with pytest.raises(CoilcallError, match=r"not everything could be kept: .* samples of each input .*No space left"):  # noqa: PT012 - it is raised when the session is left
        async with kept(folder, source, disk) as running:
            source.give(8)
            await until(lambda: running.snapshot().time_s >= end_s(source))
            disk.is_full = True
            source.give(8)
            await until(lambda: running.snapshot().time_s >= end_s(source))
            await until(lambda: "No space left" in running.source().disk)
            assert "tried every 5 s" in running.source().disk
            disk.is_full, disk.clock.time_s = False, disk.clock.time_s + RETRY_S
            source.give(100)
            await until(lambda: running.snapshot().time_s >= end_s_of_all(source))
            await until(lambda: running.source().disk == "")
    firings, flags = analysed((source.info, source.stream))
    assert rows(folder, "firings") == [astuple(firing) for firing in firings]
    assert rows(folder, "flags") == [astuple(flag) for _, flag in sorted(flags.items())]
    indices, counts = samples(folder)
    np.testing.assert_array_equal(counts, np.concatenate([b.counts for b in source.stream], axis=1)[:, indices])
    ((first, count, reason),) = rows(folder, "dropped")
    dropped = list(range(first, first + count))
    assert sorted(indices + dropped) == list(range(source.stream[-1].end_index))
    assert "No space left on device" in reason


def end_s_of_all(source: Fed) -> float:
    return source.stream[-1].end_index / source.info.sample_rate_hz


async def test_what_the_ledger_does_not_take_waits_and_nothing_is_lost_when_it_is_back(tmp_path: Path) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    told: list[Entries] = []
    async with kept(folder, source, disk) as running:
        running.on_committed(told.append)
        source.give(8)
        await until(lambda: rows(folder, "coverage"))
        book = (folder / "ledger.sqlite").rename(tmp_path / "elsewhere")
        source.give(100)
        await until(lambda: "ledger.sqlite: is gone" in running.source().disk)
        mark = running.mark("key")
        told_before = len(told)
        assert not any(entries.marks for entries in told)
        book.rename(folder / "ledger.sqlite")
        disk.clock.time_s += RETRY_S
        await until(lambda: running.source().disk == "")
        assert len(told) > told_before
    firings, flags = analysed((source.info, source.stream))
    assert rows(folder, "firings") == [astuple(firing) for firing in firings]
    assert rows(folder, "flags") == [astuple(flag) for _, flag in sorted(flags.items())]
    assert rows(folder, "marks") == [astuple(mark)]
    assert [firing for entries in told for firing in entries.firings] == firings


async def test_a_ledger_that_failed_is_left_alone_until_it_is_time_to_try_again(tmp_path: Path) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    async with kept(folder, source, disk) as running:
        assert running.keeper is not None
        book = (folder / "ledger.sqlite").rename(tmp_path / "elsewhere")
        await running.keeper.commit()
        book.rename(folder / "ledger.sqlite")
        disk.clock.time_s += RETRY_S - 0.1
        await running.keeper.commit()
        assert "is gone" in running.source().disk
        disk.clock.time_s += 0.1
        await running.keeper.commit()
        assert running.source().disk == ""


async def test_no_clip_is_due_while_a_flag_in_it_may_still_be_raised_and_booked(tmp_path: Path) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    near = Surroundings(before_s=0.4, after_s=0.2, late_s=0.5)
    async with kept(folder, source, disk, surroundings=near) as running:
        assert running.keeper is not None
        source.give(8)
        await until(lambda: running.snapshot().time_s >= end_s(source))
        await running.keeper.commit()
        assert rows(folder, "flags")
        assert await running.keeper._clips.cut(source.stream[7].end_index) == []


async def test_what_comes_after_the_streams_end_is_in_the_book_before_the_last_clip_is_cut(tmp_path: Path) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    async with kept(folder, source, disk) as running:
        assert running.keeper is not None
        source.give(len(source.stream))
        source.close()
        await running.ended.wait()
        await running.keeper.commit()  # so that the mark comes after the last one while it runs
        mark = running.mark("key")
    (*_, last) = sorted((folder / "clips").iterdir())
    assert rows(last, "marks") == [astuple(mark)]


async def test_a_disk_that_takes_its_time_holds_nobody_up_and_what_was_written_over_meanwhile_is_booked(
    tmp_path: Path,
) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    source.info = replace(source.info, is_live=True)
    source.stream = tuple(long_stretch(source.stream[0]))
    with pytest.raises(CoilcallError, match=r"samples of each input \(the disk was too slow\)"):  # noqa: PT012 - it is raised when the session is left
        async with kept(folder, source, disk) as running:
            source.give(8)
            await until(lambda: running.snapshot().time_s >= end_s(source))
            disk.may_go_on.clear()
            source.give(len(source.stream))
            await until(lambda: running.snapshot().time_s >= end_s_of_all(source))
            disk.may_go_on.set()
    kept_or_dropped = np.zeros(source.stream[-1].end_index, np.int8)
    for block in read_blocks(folder, read_info(folder)):
        kept_or_dropped[block.first_index : block.end_index] += 1
    for first, count, _ in rows(folder, "dropped"):
        kept_or_dropped[first : first + count] += 1
    np.testing.assert_array_equal(kept_or_dropped, 1)


@pytest.mark.parametrize("is_early", [False, True])
async def test_every_sample_is_written_or_told_as_written_over_and_that_once(
    monkeypatch: pytest.MonkeyPatch, is_early: bool
) -> None:
    """`is_early`: the ring runs over behind a block that was just taken, before it is asked what was lost."""
    ring = SampleRing(stream_info(is_live=True), overwrite=True, segments=3, segment_samples=10)
    stretches: list[tuple[int, int]] = []
    given = iter(range(0, 400, 10))

    def give(count: int) -> None:
        for first in islice(given, count):
            ring.write(block_at(first, 10))

    def write(block: SampleBlock, overtaken: list[tuple[int, int]]) -> None:
        """Be so slow that the ring runs over meanwhile."""
        stretches.extend([*overtaken, (block.first_index, block.end_index)])
        give(7)
        if block.end_index == 400:
            ring.finish()

    def late_statistics() -> ReaderStatistics:
        give(5)
        return RingReader.statistics(reader)

    give(1)
    with ThreadPoolExecutor(1) as owner, ring.reader() as reader:
        if is_early:
            monkeypatch.setattr(reader, "statistics", late_statistics)
        await Keeper(owner, Mock(write=write), Mock(), Mock()).record(reader)
    assert joined(stretches) == [(0, 400)]
    assert sum(end - first for first, end in stretches) == 400


def long_stretch(block: SampleBlock) -> Iterator[SampleBlock]:
    """More than the ring holds, of an engine that stands still."""
    counts = np.zeros((block.counts.shape[0], 65_536), block.counts.dtype)
    return (SampleBlock(65_536 * number, counts) for number in range(80))


async def test_a_session_that_is_cancelled_while_it_closes_keeps_all_that_was_certain(tmp_path: Path) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"

    async def look_on() -> None:
        async with kept(folder, source, disk) as running:
            source.give(len(source.stream))
            await until(lambda: running.snapshot().time_s >= end_s_of_all(source))
            disk.may_go_on.clear()

    looking = asyncio.create_task(look_on())
    await until(lambda: not disk.may_go_on.is_set())
    await asyncio.sleep(0)
    looking.cancel()
    await asyncio.sleep(0)
    disk.may_go_on.set()
    with pytest.raises(asyncio.CancelledError):
        await looking
    found, firings = rows(folder, "firings"), analysed((source.info, source.stream))[0]
    assert found == [astuple(firing) for firing in firings[: len(found)]]
    assert len(found) >= len(firings) - 6, "more is missing than what the end of the stream would have decided"


async def test_a_ledger_that_stays_away_is_the_last_word_and_samples_are_there(tmp_path: Path) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    with pytest.raises(CoilcallError, match=r"not everything could be kept: \d+ rows of the ledger .*is gone"):  # noqa: PT012 - it is raised when the session is left
        async with kept(folder, source, disk):
            (folder / "ledger.sqlite").rename(tmp_path / "elsewhere")
            source.give(100)
    indices, _ = samples(folder)
    assert len(indices) == source.stream[-1].end_index


async def test_a_folder_deleted_under_it_is_said_and_the_analysis_goes_on(tmp_path: Path) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    with pytest.raises(CoilcallError, match="not everything could be kept"):  # noqa: PT012 - it is raised when the session is left
        async with kept(folder, source, disk) as running:
            source.give(8)
            await until(lambda: rows(folder, "coverage"))
            shutil.rmtree(folder)
            source.give(16)
            await until(lambda: "is gone" in running.source().disk and "samples" in running.source().disk)
            source.give(100)
            await until(lambda: running.snapshot().time_s >= end_s_of_all(source))
    assert not folder.exists()


async def test_on_a_disk_nearly_full_the_oldest_samples_go_and_what_surrounds_flags_stays(tmp_path: Path) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    near = Surroundings(before_s=0.4, after_s=0.2, late_s=0.5)
    short = Rollover(max_s=0.5)
    async with kept(
        folder, source, disk, free=small, reserve_bytes=RESERVE_BYTES, rollover=short, surroundings=near
    ) as running:
        source.give(15)
        await until(lambda: (folder / "clips" / "0002").exists())
        while source.given < len(source.stream):
            source.give(1)
            await until(lambda: running.snapshot().time_s >= end_s(source))
        await until(lambda: "nearly full: the oldest samples go" in running.source().disk)
    dropped = rows(folder, "dropped")
    assert all("deleted to make room" in reason for *_, reason in dropped)
    gone = sum(count for _, count, _ in dropped)
    indices, counts = samples(folder)
    assert indices == list(range(gone, source.stream[-1].end_index))
    assert counts.nbytes < SMALL_BYTES - RESERVE_BYTES
    assert len(rows(folder, "firings")) == len(analysed((source.info, source.stream))[0])
    assert max(samples(folder / "clips" / "0001")[0]) < gone


async def test_a_clip_that_would_take_the_ledgers_part_of_the_reserve_is_not_cut_and_that_is_said(
    tmp_path: Path,
) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    near = Surroundings(before_s=0.4, after_s=0.2, late_s=0.5)
    with pytest.raises(CoilcallError, match="60 kB are free, and the last 75 kB are the ledger's"):  # noqa: PT012 - as above
        async with kept(
            folder,
            source,
            disk,
            free=partial(shrinking, 40_000_000, 60_000),
            reserve_bytes=RESERVE_BYTES,
            surroundings=near,
        ) as running:
            source.give(len(source.stream))
            await until(lambda: running.snapshot().time_s >= end_s_of_all(source))
    assert not list(folder.glob("clips/*"))
    assert len(rows(folder, "firings")) == len(analysed((source.info, source.stream))[0])


async def test_a_clip_is_cut_of_what_there_is_while_its_own_samples_keep_the_disk_full(tmp_path: Path) -> None:
    source, disk, folder = Fed(), Disk(), tmp_path / "drive"
    near = Surroundings(before_s=0.4, after_s=0.2, late_s=0.5)
    first_of_150_kb = partial(shrinking, 40 * 150_000 + 200_000, 305_000)
    with pytest.raises(CoilcallError, match="samples of each input"):  # noqa: PT012 - as above
        async with kept(folder, source, disk, free=first_of_150_kb, reserve_bytes=200_000, surroundings=near):
            source.give(len(source.stream))
            await until(lambda: (folder / "clips" / "0001").exists())
    (_, first, count, _), *_ = rows(folder, "clips")
    assert samples(folder / "clips" / "0001")[0] == list(range(first, first + count))
    assert first + count == samples(folder)[0][-1] + 1


async def test_a_clip_takes_no_more_than_a_quarter_of_the_reserve(tmp_path: Path) -> None:
    second = 20_000 * 3 * 2
    terms = DiskTerms(reserve_bytes=4 * second)
    async with session(Played(engine_running(8.0)), Options(folder=tmp_path / "drive", disk=terms)) as running:
        await running.ended.wait()
        for tenth in range(80):
            running.note(tenth / 10, "key")
    spans = [(first, first + count) for _, first, count, _ in rows(tmp_path / "drive", "clips")]
    assert spans == [(second_ * 20_000, (second_ + 1) * 20_000) for second_ in range(8)]


def shrinking(before: int, after: int, folder: Path) -> int:
    """Free bytes of a disk that somebody else fills when the first sample file is begun."""
    return after if any(folder.glob("samples-*.arrow")) else before


RESERVE_BYTES = 300_000
SMALL_BYTES = 700_000


def small(folder: Path) -> int:
    """Free bytes of a disk that holds sample files alone."""
    return SMALL_BYTES - sum(path.stat().st_size for path in folder.glob("samples-*.arrow"))
