"""What a session leaves on the disk: every sample, and the ledger beside them.

A disk may make anyone wait, so all of it happens in one thread of its own, in order. The event loop only hands over.
"""

import asyncio
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import AsyncExitStack, asynccontextmanager, suppress
from pathlib import Path
from typing import ParamSpec, TypeVar

from acquire.block import SampleBlock, StreamInfo
from acquire.errors import CoilcallError
from acquire.recording import RecordingWriter
from acquire.ring import RingReader
from monitor.firing.records import Firing
from monitor.flags import Flag
from monitor.ledger import Coverage, Entries, Gap, Ledger
from monitor.marks import Mark

COMMIT_EVERY_S = 0.5
"""Half of what a power cut may cost."""
LEDGER_NAME = "ledger.sqlite"

P = ParamSpec("P")
T = TypeVar("T")


class Keeper:
    """Records samples and keeps the ledger. Its methods are called from the event loop."""

    def __init__(self, owner: ThreadPoolExecutor, writer: RecordingWriter, ledger: Ledger) -> None:
        self._owner, self._writer, self._ledger = owner, writer, ledger
        self._firings: list[Firing] = []
        self._flags: list[Flag] = []
        self._gaps: list[Gap] = []
        self._marks: list[Mark] = []
        self._end_index: int | None = None

    def enter(self, firings: tuple[Firing, ...], flags: tuple[Flag, ...]) -> None:
        """Take firings and flags into what the next commit writes."""
        self._firings += firings
        self._flags += flags

    def enter_marks(self, marks: tuple[Mark, ...]) -> None:
        """Take marks into what the next commit writes."""
        self._marks += marks

    def enter_gap_before(self, block: SampleBlock) -> None:
        """Take the samples missing before this block, if any, into what the next commit writes."""
        if self._end_index is not None and block.first_index > self._end_index:
            self._gaps.append(Gap(self._end_index, block.first_index - self._end_index))
        self._end_index = block.end_index

    async def commit(self, coverage: Coverage | None = None) -> None:
        """Write everything entered since the last commit."""
        entries = Entries(self._firings, self._flags, self._gaps, coverage, self._marks)
        self._firings, self._flags, self._gaps, self._marks = [], [], [], []
        await _in_thread(self._owner, self._ledger.write, entries)

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
            await _in_thread(self._owner, self._writer.write, block)


@asynccontextmanager
async def keeping(folder: Path, info: StreamInfo, setup_toml: str) -> AsyncIterator[Keeper]:
    """Begin a recording with its ledger in a new folder; both are closed whole, however the block is left.

    Raises AddressError where the folder is not empty or cannot be made, CoilcallError where the disk fails.
    """
    owner = ThreadPoolExecutor(1, thread_name_prefix="disk")
    async with AsyncExitStack() as stack:
        stack.enter_context(owner)
        writer = await _in_thread(owner, RecordingWriter, folder, info, setup_toml)
        stack.push_async_callback(_in_thread, owner, writer.close)
        ledger = await _in_thread(owner, Ledger, folder / LEDGER_NAME)
        stack.push_async_callback(_in_thread, owner, ledger.close)
        keeper = Keeper(owner, writer, ledger)
        stack.push_async_callback(keeper.commit)
        yield keeper


async def _in_thread(owner: ThreadPoolExecutor, work: Callable[P, T], *args: P.args, **kwargs: P.kwargs) -> T:
    """Do it in the disk's thread; a failing disk raises CoilcallError.

    Not left before it is done, even when cancelled: it may be reading memory that would be written over.
    """
    done = asyncio.wrap_future(owner.submit(work, *args, **kwargs))
    try:
        return await asyncio.shield(done)
    except asyncio.CancelledError:
        await asyncio.wait([done])
        raise
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        raise CoilcallError(f"{where}the recording cannot be written: {error.strerror or error}") from error
