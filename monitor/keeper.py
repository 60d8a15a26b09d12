"""What a session leaves on the disk: every sample, the ledger, and clips of what surrounds flags and marks.

A disk may make anyone wait, so all of it happens in threads of their own. The event loop only hands over. Samples,
ledger and clips fail apart from one another, and none of them stops the analysis.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from dataclasses import replace
from pathlib import Path

from acquire.block import SampleBlock, StreamInfo
from acquire.errors import CoilcallError
from acquire.ring import RingReader
from monitor.clip_cut import remove_halves
from monitor.clip_plan import MOST_WANTED
from monitor.clips import Clips
from monitor.disk_terms import DiskTerms
from monitor.disk_thread import in_thread, to_its_end
from monitor.entries import Coverage, Entries, Event, Gap
from monitor.firing.records import Firing
from monitor.flags import Flag
from monitor.ledger import LEDGER_NAME, Ledger
from monitor.ledger_reader import read_unclipped
from monitor.marks import Mark
from monitor.pending import Pending
from monitor.sample_store import SampleStore
from monitor.text import counted
from monitor.trouble import Trouble

COMMIT_EVERY_S = 0.5
"""Half of what a power cut may cost."""


class Keeper:
    """Records samples, keeps the ledger, cuts clips. Its methods are called from the event loop."""

    def __init__(self, owner: ThreadPoolExecutor, store: SampleStore, ledger: Ledger, clips: Clips) -> None:
        self._owner, self._store, self._ledger, self._clips = owner, store, ledger, clips
        self.counted = ledger.counted
        """Whose recording it is, and the numbers that were given before this session."""
        self._pending = Pending()
        self._trouble = Trouble("ledger", clips.trouble.clock)
        self._end_index: int | None = None
        self.on_committed: list[Callable[[Entries], None]] = []
        """Told, in the event loop, what the ledger holds from now on."""

    def enter(self, firings: tuple[Firing, ...], flags: tuple[Flag, ...]) -> None:
        """Take firings and flags into what the next commit writes; flags are numbered on from the session before."""
        before = self.counted.flag
        self._pending.enter(firings, [replace(flag, number=before + flag.number) for flag in flags])
        self._clips.note_flags(flags)

    def enter_mark(self, mark: Mark) -> None:
        """Take a mark into what the next commit writes."""
        self._pending.marks.append(mark)
        self._clips.want(mark.time_s)

    def enter_event(self, event: Event) -> None:
        """Take something that befell the measurement into what the next commit writes."""
        self._pending.events.append(event)

    def note_block(self, block: SampleBlock) -> None:
        """Note that a block was analysed; samples missing before it go into what the next commit writes."""
        if self._end_index is None:
            self._pending.first_index = block.first_index
        elif block.first_index > self._end_index:
            self._pending.gaps.append(Gap(self._end_index, block.first_index - self._end_index))
        self._end_index = block.end_index
        self._clips.plan.analysed(block.end_index)
        self._store.needed_from = self._clips.plan.needed_from

    @property
    def disk(self) -> str:
        """What the disk does not keep just now, in words; "" while all is well."""
        return "; ".join(filter(None, (self._store.words, self._trouble.words, self._clips.trouble.words)))

    @property
    def unkept(self) -> str:
        """What could not be kept since the start, in words; "" where nothing was lost."""
        lost = (
            (self._store.samples_lost, "sample", " of each input", self._store.trouble),
            (self._pending.rows_lost, "row", " of the ledger", self._trouble),
            (self._clips.plan.given_up, "clip", "", self._clips.trouble),
        )
        told = [
            f"{counted(count, what)}{of} ({trouble.last_reason})" if count else trouble.reason
            for count, what, of, trouble in lost
            if count or trouble.reason
        ]
        return f"not everything could be kept: {'; '.join(told)}" if told else ""

    async def commit(self, *, is_last: bool = False) -> None:
        """Write everything entered since the last commit, unless the ledger failed only just now.

        What could not be written waits for the next one; with `is_last` it is lost, and counted.
        """
        if self._trouble.is_due or is_last:
            await to_its_end(self._commit(is_last=is_last))

    async def _commit(self, *, is_last: bool) -> None:
        dropped = await in_thread(self._owner, self._store.take_dropped)
        self._pending.dropped += dropped
        entries, end_index = self._pending.take(), self._end_index or 0
        try:
            await in_thread(self._owner, self._ledger.write, entries)
        except CoilcallError as error:
            self._trouble.failed(str(error))
            self._pending.give_back(entries)
            if is_last:
                self._pending.give_up()
            return
        self._trouble.over()
        self._clips.plan.booked(end_index)
        for hook in self.on_committed:
            hook(entries)

    async def keep_book(self, ended: asyncio.Event, take_stock: Callable[[], Coverage]) -> None:
        """Commit twice a second, and once more when the stream has ended."""
        is_over = False
        while not is_over:
            await _pause(ended)
            is_over = ended.is_set()
            self._pending.coverage = take_stock()
            await self.commit()

    async def keep_clips(self, ended: asyncio.Event) -> None:
        """Cut clips as they are settled; the last ones are cut in `finish`."""
        while not ended.is_set():
            await _pause(ended)
            await to_its_end(self._cut_clips())

    async def _cut_clips(self, *, is_last: bool = False) -> None:
        clips = await self._clips.cut(self._store.kept_index, is_last=is_last)
        self._pending.clips += clips

    async def record(self, reader: RingReader) -> None:
        """Write every block to the end of the stream; why it ended is the analysis' to tell."""
        blocks, end_index = aiter(reader), 0
        while True:
            try:
                block = await anext(blocks)
            except (CoilcallError, StopAsyncIteration):
                return
            ranges = reader.statistics().lost_ranges
            # Behind this block more may be lost already; that is told before the next.
            overtaken = [(max(first, end_index), end) for first, end in ranges if end_index < end <= block.first_index]
            end_index = block.end_index
            # Not left before it is done, even when cancelled: it reads memory that would be written over.
            await to_its_end(in_thread(self._owner, self._store.write, block, overtaken))

    async def finish(self) -> None:
        """End the sample files, then book all that is left, then cut what clips are left, and book those."""
        await in_thread(self._owner, self._store.close)
        await self.commit()
        await self._cut_clips(is_last=True)
        await self.commit(is_last=True)


async def _pause(ended: asyncio.Event) -> None:
    with suppress(TimeoutError):
        await asyncio.wait_for(ended.wait(), COMMIT_EVERY_S)


@asynccontextmanager
async def keeping(
    folder: Path, info: StreamInfo, terms: DiskTerms, first_index: int | None = None
) -> AsyncIterator[Keeper]:
    """Begin a recording with its ledger, or go on in one, at `first_index`; it is closed whole, however it is left.

    Raises AddressError where the folder is not empty or cannot be made, or is no recording of the same inputs to go on
    in; FormatError where that is damaged; CoilcallError where the disk fails at once.
    """
    disk, cutter = ThreadPoolExecutor(1, thread_name_prefix="disk"), ThreadPoolExecutor(1, thread_name_prefix="clips")
    async with AsyncExitStack() as stack:
        stack.enter_context(disk)
        stack.enter_context(cutter)
        terms = replace(terms, reserve_bytes=await in_thread(disk, terms.reserve, folder))
        store = await in_thread(disk, SampleStore, folder, info, terms)
        is_new = not (terms.resume and (folder / LEDGER_NAME).exists())
        began_utc = terms.clock.utc()
        ledger = await in_thread(disk, Ledger, folder / LEDGER_NAME, began_utc, is_new=is_new, first_index=first_index)
        stack.push_async_callback(in_thread, disk, ledger.close)
        clips = Clips(folder, info, terms, cutter)
        await in_thread(disk, remove_halves, folder)
        for moment_s in await in_thread(disk, read_unclipped, ledger.path, info.sample_rate_hz, MOST_WANTED):
            clips.want(moment_s)
        keeper = Keeper(disk, store, ledger, clips)
        stack.push_async_callback(lambda: to_its_end(keeper.finish()))
        yield keeper
