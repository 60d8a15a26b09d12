"""The samples of the last while, written by one thread and read by many tasks.

The ring is a log of segments, all allocated at the start. The writer fills the newest; when that is full, or after a
gap, it takes a spare one or the oldest that nobody holds. A reader holds the one segment it was given a view of, so no
view changes under its reader, and nothing is copied for it.
"""

import asyncio
import threading
from bisect import bisect_left
from dataclasses import dataclass
from operator import attrgetter
from typing import Self

import numpy as np

from acquire.block import SampleBlock, StreamInfo
from acquire.cursor import Cursor, ReaderStatistics, Segment
from acquire.errors import FormatError

WAIT_S = 0.5


@dataclass(frozen=True, slots=True)
class RingStatistics:
    """Samples per channel: written so far, missing between the source's blocks, kept now, and the most it can keep."""

    samples_written: int
    samples_missing: int
    samples_kept: int
    capacity_samples: int
    readers: tuple[ReaderStatistics, ...]

    @property
    def fill(self) -> float:
        """Share of the ring in use, 0 to 1."""
        return self.samples_kept / self.capacity_samples


class SampleRing:
    """One writer (any one thread), many readers (tasks of the event loop it is made in).

    With `overwrite` (a live source) the writer never waits, and a reader that is too slow loses the oldest samples.
    Without (a file) the writer waits for the slowest reader, and for the first. The memory is `segments` arrays of
    shape (channels, segment_samples) in the stream's dtype.
    """

    def __init__(self, info: StreamInfo, *, overwrite: bool, segments: int = 64, segment_samples: int = 65536) -> None:
        self._info = info
        self._overwrite = overwrite
        self._segments, self._segment_samples = segments, segment_samples
        self._spare = [Segment(np.empty((len(info.channels), segment_samples), info.dtype)) for _ in range(segments)]
        self._log: list[Segment] = []
        self._cursors: list[Cursor] = []
        self._written = self._missing = self._end_index = 0
        self._closed = self._finished = self._asleep = False
        self._error: BaseException | None = None
        self._changed = threading.Condition()
        self._loop = asyncio.get_running_loop()
        self._awake = asyncio.Event()

    def write(self, block: SampleBlock) -> bool:
        """Copy a block in; False once the ring is closed and nobody wants more.

        Raises FormatError for a block that breaks the stream's promise: other channels or dtype, or going back.
        """
        self._check(block)
        at = 0
        while at < block.samples:
            segment = self._segment_for(block.first_index + at)
            if segment is None:
                return False
            samples = min(block.samples - at, self._segment_samples - segment.filled)
            segment.counts[:, segment.filled : segment.filled + samples] = block.counts[:, at : at + samples]
            self._commit(segment, samples)
            at += samples
        return not self._closed

    def finish(self, error: BaseException | None = None) -> None:
        """End the stream: readers get what is kept, then stop, or raise `error`. Called once, by the writer."""
        with self._changed:
            self._finished, self._error = True, error
            self._notify_readers()

    def close(self) -> None:
        """Nobody will read any more: a waiting writer goes on and ends. Safe from any thread, more than once."""
        with self._changed:
            self._closed = True
            self._changed.notify()

    def reader(self) -> "RingReader":
        """Register a reader; it starts at the oldest sample kept.

        Without `overwrite` all readers must be there before the first one reads on, or the newcomer could not see
        everything: RuntimeError.
        """
        with self._changed:
            if len(self._cursors) + 2 >= self._segments:  # each may hold one; one is written; one is free
                raise RuntimeError(f"{self._segments} segments serve at most {self._segments - 2} readers")
            oldest = self._log[0].serial if self._log else 0
            if oldest and not self._overwrite:
                raise RuntimeError("register every reader before the first one reads on")
            cursor = Cursor(oldest)
            self._cursors.append(cursor)
            self._changed.notify()
        return RingReader(self, cursor)

    def statistics(self) -> RingStatistics:
        """Everything counted, at one instant."""
        with self._changed:
            kept = sum(segment.filled for segment in self._log)
            readers = tuple(cursor.statistics(self._log) for cursor in self._cursors)
            capacity = self._segments * self._segment_samples
            return RingStatistics(self._written, self._missing, kept, capacity, readers)

    def _check(self, block: SampleBlock) -> None:
        source, channels, dtype = self._info.source, len(self._info.channels), self._info.dtype
        if block.counts.dtype != dtype or block.counts.shape[0] != channels:
            came = f"{block.counts.shape[0]} channels of {block.counts.dtype}"
            raise FormatError(f"{source}: a block holds {came}, not {channels} channels of {dtype}")
        if block.first_index < self._end_index:
            raise FormatError(
                f"{source}: a block starts at sample {block.first_index}, not at {self._end_index} or later"
            )

    def _segment_for(self, index: int) -> Segment | None:
        """Give the segment that takes sample `index`; None once the ring is closed."""
        newest = self._log[-1] if self._log else None
        if newest and newest.end_index == index and newest.filled < self._segment_samples:
            return None if self._closed else newest
        with self._changed:
            while not self._closed:
                if segment := self._free_segment():
                    segment.serial = newest.serial + 1 if newest else 0
                    segment.first_index, segment.filled = index, 0
                    self._log.append(segment)
                    return segment
                self._changed.wait(WAIT_S)
        return None

    def _free_segment(self) -> Segment | None:
        if self._spare:
            return self._spare.pop()
        for place, segment in enumerate(self._log):
            if segment.holders == 0 and (self._overwrite or self._read_by_all(segment)):
                for cursor in self._cursors:
                    cursor.lose(segment)
                return self._log.pop(place)
        return None

    def _read_by_all(self, segment: Segment) -> bool:
        return bool(self._cursors) and not any(cursor.unread(segment) for cursor in self._cursors)

    def _commit(self, segment: Segment, samples: int) -> None:
        with self._changed:
            self._missing += segment.end_index - self._end_index
            segment.filled += samples
            self._written += samples
            self._end_index = segment.end_index
            self._notify_readers()

    def _notify_readers(self) -> None:
        """Wake the loop once each time it has fallen asleep: a fast writer does not flood it."""
        if self._asleep:
            self._asleep = False
            self._loop.call_soon_threadsafe(self._awake.set)

    async def _next(self, cursor: Cursor) -> SampleBlock:
        while (block := self._advance(cursor)) is None:
            await self._awake.wait()
        return block

    def _advance(self, cursor: Cursor) -> SampleBlock | None:
        """Take back the reader's last view and give the next; None when there is nothing yet."""
        with self._changed:
            cursor.release()
            self._changed.notify()
            if cursor not in self._cursors:
                raise StopAsyncIteration
            for segment in self._log[bisect_left(self._log, cursor.serial, key=attrgetter("serial")) :]:
                if cursor.unread(segment):
                    return cursor.hold(segment)
            if self._finished:
                raise self._error or StopAsyncIteration
            self._asleep = True
            self._awake.clear()
            return None

    def _remove(self, cursor: Cursor) -> None:
        with self._changed:
            cursor.release()
            if cursor in self._cursors:
                self._cursors.remove(cursor)
            self._changed.notify()

    def _statistics_of(self, cursor: Cursor) -> ReaderStatistics:
        with self._changed:
            return cursor.statistics(self._log)


class RingReader:
    """An async iterator of SampleBlock; each view is good until the next one is asked for.

    It ends with the stream, or raises the error that ended it. Use it in a `with`, or close it: as long as it is open,
    a file's writer waits for it.
    """

    def __init__(self, ring: SampleRing, cursor: Cursor) -> None:
        self._ring, self._cursor = ring, cursor

    def __aiter__(self) -> Self:
        return self

    async def __anext__(self) -> SampleBlock:
        await asyncio.sleep(0)  # a writer that is always ahead must not keep other tasks from running
        return await self._ring._next(self._cursor)  # noqa: SLF001 - two halves of one thing

    def statistics(self) -> ReaderStatistics:
        """Read, lost and waiting, at one instant."""
        return self._ring._statistics_of(self._cursor)  # noqa: SLF001

    def close(self) -> None:
        """Stop reading; what is kept is given up. More than once is fine."""
        self._ring._remove(self._cursor)  # noqa: SLF001

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()
