"""What a command enters to be seen by others. It encloses the session, so that its last entries are sent too."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

from acquire.clock import Clock
from monitor.publish.address import Access
from monitor.publish.told import Told
from monitor.text import counted

Attach = Callable[[Told, Callable[[], object]], None]
"""Called with a session and with what ends it, once; after that it is published."""


@asynccontextmanager
async def publishing(access: Access | None, clock: Clock, say: Callable[[str], object]) -> AsyncIterator[Attach]:
    """Publish whatever is attached; nothing without `access`. `say` is told at the end what could not be sent.

    Raises AddressError where a file for TLS is of no use, CoilcallError where the outbox cannot be opened.
    """
    if access is None:
        yield lambda _told, _stop: None
        return
    # The library is imported by those alone who publish: it takes a tenth of a second.
    from monitor.publish.line import Line
    from monitor.publish.outbox import outbox_path
    from monitor.publish.publisher import Publisher
    from monitor.publish.room import opened

    line = Line(access, clock)
    async with opened(outbox_path(access.broker), access.broker, clock) as room, asyncio.TaskGroup() as tasks:
        published: list[tuple[Publisher, asyncio.Task[None]]] = []

        def attach(told: Told, stop: Callable[[], object]) -> None:
            publisher = Publisher(told, line, room, clock, stop)
            published.append((publisher, tasks.create_task(publisher.run())))

        try:
            yield attach
        finally:
            for publisher, running in published:
                await publisher.finish(running)
            if room.left:
                waiting = counted(room.left, "message")
                say(f"{waiting} may not have reached {access.broker}; what waits goes out with the next run")
