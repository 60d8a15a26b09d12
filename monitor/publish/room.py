"""The outbox as the event loop sees it: handed in at once, kept by a thread of its own, never waited for."""

import asyncio
import math
from collections.abc import AsyncIterator, Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager
from pathlib import Path
from typing import ParamSpec

from acquire.clock import Clock
from acquire.errors import CoilcallError
from monitor.disk_thread import in_thread, to_its_end
from monitor.publish.address import Broker
from monitor.publish.messages import Kept
from monitor.publish.outbox import Outbox, Waiting

SETTLE_S, STRIKE_EVERY_S = 2.0, 1.0
"""A broker that has lived for so long after an acknowledgement has passed the message on."""
RETRY_S = 5.0
"""A disk that is full is asked again no more often than that."""
_MOST_FRESH = 5_000
"""What may wait in memory while the disk takes nothing, some megabytes; what comes after that is dropped."""

P = ParamSpec("P")


class Room:
    """What waits to be sent. A disk that fails is told in `trouble`, and asked again."""

    def __init__(self, outbox: Outbox, owner: ThreadPoolExecutor, clock: Clock) -> None:
        self._outbox, self._owner, self._clock = outbox, owner, clock
        self._fresh: list[Kept] = []
        self._strike_due_s = -math.inf
        self._storing = asyncio.Lock()
        self._handed_in = asyncio.Event()
        self.news = asyncio.Event()
        """Set when something new waits in the outbox."""
        self.trouble = ""
        self.on_stored: Callable[[Sequence[Kept]], object] = lambda _: None
        """Told what waits on the disk from now on, with its revisions."""
        self.waiting = outbox.count()
        """How many the broker has not acknowledged."""
        self.left = outbox.count()
        """How many will be sent again where the connection breaks."""
        self._turned_away = 0  # counted in the event loop
        self._dropped_by_outbox = 0  # counted in the outbox's thread

    @property
    def dropped(self) -> int:
        """How many had to go unsent in this run."""
        return self._turned_away + self._dropped_by_outbox

    def hand_in(self, messages: Iterable[Kept]) -> None:
        """Take them, in this order."""
        for message in messages:
            if len(self._fresh) < _MOST_FRESH:
                self._fresh.append(message)
            else:
                self._turned_away += 1
        self._handed_in.set()

    async def keep_storing(self) -> None:
        """Bring what was handed in to the disk, until cancelled."""
        while True:
            await self._handed_in.wait()
            self._handed_in.clear()
            while not await self.store():  # noqa: ASYNC110  nobody can say when a disk is well again
                await asyncio.sleep(RETRY_S)

    async def store(self) -> bool:
        """Bring what was handed in to the disk now; whether all of it is there."""
        async with self._storing:
            batch, entered = list(self._fresh), list[Kept]()
            if batch and await self._try(lambda: entered.extend(self._enter(batch))):
                del self._fresh[: len(batch)]
                self.on_stored(entered)
                self.news.set()
        return not self._fresh

    async def begin(self) -> None:
        """A connection is new: what may have been lost with the one before is sent again."""
        await self._try(self._forget_sent)

    async def first(self, most: int) -> list[Waiting]:
        """Those that have waited longest and were not sent on this connection; none while the disk fails."""
        found: list[Waiting] = []
        await self._try(lambda: found.extend(self._outbox.first(most)))
        return found

    async def note_sent(self, sent: Sequence[Waiting]) -> None:
        """What the broker has acknowledged; once a second what has settled is struck out."""
        now_s = self._clock.now()
        if sent:
            await self._try(self._note_sent, sent, now_s)
        if now_s >= self._strike_due_s:
            self._strike_due_s = now_s + STRIKE_EVERY_S
            await self._try(self._strike, now_s - SETTLE_S)

    async def settle(self) -> None:
        """Strike out all that was acknowledged: the connection lasted to the end."""
        await self._try(self._strike, math.inf)

    def _enter(self, batch: list[Kept]) -> list[Kept]:
        entered, dropped = self._outbox.enter(batch)
        self._dropped_by_outbox += dropped
        self.trouble = ""
        self._count()
        return entered

    def _note_sent(self, sent: Sequence[Waiting], now_s: float) -> None:
        self._outbox.note_sent(sent, now_s)
        self._count()

    def _forget_sent(self) -> None:
        self._outbox.forget_sent()
        self._count()

    def _strike(self, until_s: float) -> None:
        if self._outbox.strike(until_s):
            self.trouble = ""
        self._count()

    def _count(self) -> None:
        self.left = self._outbox.count()
        self.waiting = self.left - self._outbox.acknowledged()

    async def _try(self, work: Callable[P, object], *args: P.args, **kwargs: P.kwargs) -> bool:
        try:
            await to_its_end(in_thread(self._owner, work, *args, **kwargs))
        except CoilcallError as error:
            self.trouble = str(error)
            return False
        return True


@asynccontextmanager
async def opened(path: Path, broker: Broker, clock: Clock) -> AsyncIterator[Room]:
    """Open the outbox of a broker; closed whole, however the block is left. Raises CoilcallError."""
    with ThreadPoolExecutor(1, thread_name_prefix="outbox") as owner:
        outbox = await in_thread(owner, Outbox, path, broker)
        try:
            yield await in_thread(owner, Room, outbox, owner, clock)
        finally:
            await to_its_end(in_thread(owner, outbox.close))
