"""What a session leaves on the disk: every sample, and the ledger beside them.

A disk may make anyone wait, so all of it happens in one thread of its own, in order. The event loop only hands over.
Samples and ledger fail apart from one another, and neither stops the analysis.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import ParamSpec, TypeVar

from acquire.block import SampleBlock, StreamInfo
from acquire.clock import Clock
from acquire.errors import CoilcallError
from acquire.recording import RecordingWriter
from acquire.ring import RingReader
from monitor.entries import Coverage, Entries, Event, Gap
from monitor.firing.records import Firing
from monitor.flags import Flag
from monitor.ledger import LEDGER_NAME, Ledger
from monitor.marks import Mark
from monitor.pending import Pending
from monitor.sample_store import SampleStore
from monitor.trouble import Trouble, told

COMMIT_EVERY_S = 0.5
"""Half of what a power cut may cost."""

P = ParamSpec("P")
T = TypeVar("T")


class Keeper:
    """Records samples and keeps the ledger. Its methods are called from the event loop."""

    def __init__(self, owner: ThreadPoolExecutor, store: SampleStore, ledger: Ledger, clock: Clock) -> None:
        self._owner, self._store, self._ledger = owner, store, ledger
        self.counted = ledger.counted
        """Whose recording it is, and the numbers that were given before this session."""
        self._pending = Pending()
        self._trouble = Trouble("ledger", clock)
        self._end_index: int | None = None
        self.on_committed: list[Callable[[Entries], None]] = []
        """Told, in the event loop, what the ledger holds from now on."""

    def enter(self, firings: tuple[Firing, ...], flags: tuple[Flag, ...]) -> None:
        """Take firings and flags into what the next commit writes; flags are numbered on from the session before."""
        before = self.counted.flag
        self._pending.enter(firings, [replace(flag, number=before + flag.number) for flag in flags])

    def enter_mark(self, mark: Mark) -> None:
        """Take a mark into what the next commit writes."""
        self._pending.marks.append(mark)

    def enter_event(self, event: Event) -> None:
        """Take something that befell the measurement into what the next commit writes."""
        self._pending.events.append(event)

    def enter_gap_before(self, block: SampleBlock) -> None:
        """Take the samples missing before this block, if any, into what the next commit writes."""
        if self._end_index is None:
            self._pending.first_index = block.first_index
        elif block.first_index > self._end_index:
            self._pending.gaps.append(Gap(self._end_index, block.first_index - self._end_index))
        self._end_index = block.end_index

    @property
    def disk(self) -> str:
        """What the disk does not take just now, in words; "" while all is well."""
        return "; ".join(filter(None, (self._store.trouble.words, self._trouble.words)))

    @property
    def unkept(self) -> str:
        """What could not be kept since the start, in words; "" where nothing was lost."""
        lost = []
        if self._store.samples_lost:
            lost.append(f"{self._store.samples_lost} samples of each input: {self._store.trouble.last_reason}")
        if rows := self._pending.rows_lost:
            lost.append(f"{rows} rows of the ledger: {self._trouble.last_reason}")
        return f"not everything could be kept: {'; '.join(lost)}" if lost else ""

    async def commit(self, coverage: Coverage | None, *, is_last: bool = False) -> None:
        """Write everything entered since the last commit, unless the ledger failed only just now.

        What could not be written waits for the next one; with `is_last` it is lost, and counted.
        """
        if self._trouble.is_due or is_last:
            await _to_its_end(self._commit(coverage, is_last=is_last))

    async def _commit(self, coverage: Coverage | None, *, is_last: bool) -> None:
        self._pending.dropped += await _in_thread(self._owner, self._store.take_dropped)
        entries = self._pending.take(coverage)
        try:
            await _in_thread(self._owner, self._ledger.write, entries)
        except CoilcallError as error:
            self._trouble.failed(str(error))
            self._pending.give_back(entries)
            if is_last:
                self._pending.give_up()
            return
        self._trouble.over()
        for hook in self.on_committed:
            hook(entries)

    async def keep_book(self, ended: asyncio.Event, coverage: Callable[[], Coverage]) -> None:
        """Commit twice a second, and once more when the stream has ended."""
        while not ended.is_set():
            with suppress(TimeoutError):
                await asyncio.wait_for(ended.wait(), COMMIT_EVERY_S)
            await self.commit(coverage())

    async def record(self, reader: RingReader) -> None:
        """Write every block to the end of the stream; why it ended is the analysis' to tell."""
        blocks = aiter(reader)
        while True:
            try:
                block = await anext(blocks)
            except (CoilcallError, StopAsyncIteration):
                return
            # Not left before it is done, even when cancelled: it reads memory that would be written over.
            await _to_its_end(_in_thread(self._owner, self._store.write, block))


@asynccontextmanager
async def keeping(folder: Path, info: StreamInfo, setup_toml: str, clock: Clock) -> AsyncIterator[Keeper]:
    """Begin a recording with its ledger in a new folder; both are closed whole, however the block is left.

    Raises AddressError where the folder is not empty or cannot be made, CoilcallError where the disk fails at once.
    """
    owner = ThreadPoolExecutor(1, thread_name_prefix="disk")
    async with AsyncExitStack() as stack:
        stack.enter_context(owner)
        writer = await _in_thread(owner, RecordingWriter, folder, info, setup_toml)
        store = SampleStore(writer, clock)
        stack.push_async_callback(_in_thread, owner, store.close)
        ledger = await _in_thread(owner, Ledger, folder / LEDGER_NAME, clock.utc())
        stack.push_async_callback(_in_thread, owner, ledger.close)
        keeper = Keeper(owner, store, ledger, clock)
        stack.push_async_callback(keeper.commit, None, is_last=True)
        stack.push_async_callback(_in_thread, owner, store.close)
        yield keeper


async def _in_thread(owner: ThreadPoolExecutor, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
    """Do it in the disk's thread; a failing disk raises CoilcallError."""
    try:
        return await asyncio.wrap_future(owner.submit(work, *args, **kwargs))
    except OSError as error:
        raise CoilcallError(f"the recording cannot be written: {told(error)}") from error


async def _to_its_end(work: Awaitable[T]) -> T:
    """Await it, and when cancelled only after it is done."""
    task = asyncio.ensure_future(work)
    try:
        return await asyncio.shield(task)
    except asyncio.CancelledError:
        await asyncio.wait([task])
        raise
