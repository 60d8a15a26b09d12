"""A session that is told, without one; and somebody who listens."""

import asyncio
import json
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import Any

from monitor.entries import Entries
from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark
from monitor.publish.address import Access, parse_broker
from monitor.publish.broker import Letter, connected
from monitor.snapshot import Snapshot
from monitor.source_view import SourceState, SourceView


def flag(number: int, *, count: int = 1, end_s: float | None = None) -> Flag:
    return Flag(
        number,
        Kind.MISSING_ACKNOWLEDGEMENT,
        Severity.FAULT,
        4,
        None,
        number / 10,
        end_s,
        count,
        "no answer in its turn",
    )


class Drive:
    """What a publisher asks of a session."""

    def __init__(self, recording_id: str = "drive") -> None:
        self.recording_id, self.began_s = recording_id, 0.0
        self.publishing_state: Callable[[], str] = str
        self.standing = SourceState.FLOWING
        self.now = Snapshot(1.0, 800.0, "running", ())
        self.marks: list[Mark] = []
        self.stopped = 0
        self._hooks: list[Callable[[Entries], None]] = []

    def snapshot(self) -> Snapshot:
        return self.now

    def source(self) -> SourceView:
        return SourceView("simulated:", self.standing, publishing=self.publishing_state())

    def mark(self, by: str, note: str = "") -> object:
        self.marks.append(Mark(len(self.marks) + 1, 1.0, by, note))
        self.commit(marks=[self.marks[-1]])
        return self.marks[-1]

    def stop(self) -> None:
        self.stopped += 1

    def on_committed(self, hook: Callable[[Entries], None]) -> None:
        self._hooks.append(hook)

    def commit(self, *flags: Flag, marks: list[Mark] | None = None) -> None:
        for hook in self._hooks:
            hook(Entries(flags=flags, marks=marks or ()))


async def comes_true(condition: Callable[[], object], within_s: float = 15.0) -> None:
    """Look now and then whether it holds."""
    async with asyncio.timeout(within_s):
        while not condition():  # noqa: ASYNC110  it hangs on another process
            await asyncio.sleep(0.02)


class Listener:
    """Everything that came, by topic, as JSON."""

    def __init__(self) -> None:
        self.heard: list[tuple[str, Any]] = []

    def of(self, topic: str) -> list[Any]:
        return [message for name, message in self.heard if name == topic]


@asynccontextmanager
async def listening(address: str, password: str | None = None) -> AsyncIterator[Listener]:
    """Somebody who hears everything below a root, within the block."""
    access, listener = Access(parse_broker(address), password), Listener()

    async def listen() -> None:
        async with connected(access, None, None) as connection:
            async for letter in connection.received(access.broker.topic("#")):
                name = letter.topic.rpartition("/")[2]
                listener.heard.append((name, letter.payload if name == "command" else json.loads(letter.payload)))

    async def call() -> None:
        async with connected(access, None, None) as connection:
            while not listener.of("here"):
                await connection.send(Letter(access.broker.topic("here"), b"1", qos=1))
                await asyncio.sleep(0.02)

    async with asyncio.TaskGroup() as tasks:
        running = tasks.create_task(listen())
        await call()
        yield listener
        running.cancel()
