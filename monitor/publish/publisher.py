"""One session, told to a broker: what the ledger has, in order and to the last, and how it stands."""

import asyncio
from collections.abc import Callable
from contextlib import suppress

from acquire.clock import Clock
from monitor.entries import Entries
from monitor.publish.broker import BrokerAway, Connection, Letter
from monitor.publish.current import Current
from monitor.publish.line import Line
from monitor.publish.messages import Kept
from monitor.publish.orders import Orders
from monitor.publish.room import Room
from monitor.publish.telling import flag_message, mark_message
from monitor.publish.told import Told

FINISH_S = 3.0
"""How long the last messages may take: nobody stands beside a laptop that does not end."""
_AT_ONCE = 10
"""Messages under way: enough that a round trip of 0.2 s does not hold up a burst."""


class Publisher:
    """Everything here runs in the event loop, and the session waits for nothing of it."""

    def __init__(self, told: Told, line: Line, room: Room, clock: Clock, stop: Callable[[], object]) -> None:
        self._told, self._line, self._room, access = told, line, room, line.access
        topics = [access.broker.topic("command")] if access.takes_commands else []
        self._orders = Orders(topics, told.mark, stop, clock)
        self._current = Current(told, access, room, self._orders, clock)
        self._finishing = asyncio.Event()
        self._failure = ""
        room.on_stored = self._current.note
        told.on_committed(self._committed)
        told.publishing_state = self.words

    def words(self) -> str:
        """What is not as it should be; "" when all is sent."""
        room, away = self._room, self._line.words()
        facts = [
            f"{room.waiting} waiting" if room.waiting and away else "",
            away,
            f"{room.dropped} dropped" if room.dropped else "",
            room.trouble,
            self._failure,
            self._orders.words(),
        ]
        told = ", ".join(filter(None, facts))
        return f"mqtt: {told}" if told else ""

    def _committed(self, entries: Entries) -> None:
        recording_id = self._told.recording_id
        messages: list[Kept] = [flag_message(recording_id, flag) for flag in entries.flags]
        messages += [mark_message(recording_id, mark) for mark in entries.marks]
        if messages:
            self._room.hand_in(messages)

    async def run(self) -> None:
        """Publish until `finish`. A road test goes on, whatever becomes of its telling."""
        try:
            async with asyncio.TaskGroup() as tasks:
                storing = tasks.create_task(self._room.keep_storing())
                await self._line.keep(self._serve, self._current.will, self._finishing)
                storing.cancel()
        except* Exception as group:  # noqa: BLE001  told, and no reason to end the session
            self._failure = f"failed: {group.exceptions[0]!r}"

    async def finish(self, running: asyncio.Task[None]) -> None:
        """Send the rest, in bounded time; what is left waits in the outbox."""
        await self._room.store()
        self._finishing.set()
        self._room.news.set()
        with suppress(TimeoutError):
            async with asyncio.timeout(FINISH_S):
                await running

    async def _serve(self, connection: Connection) -> None:
        async with asyncio.TaskGroup() as tasks:
            orders = tasks.create_task(self._orders.take(connection))
            await self._send(connection)
            orders.cancel()

    async def _send(self, connection: Connection) -> None:
        """What waits, in pieces, and between them how it stands; at the end that it has ended."""
        self._current.begin()
        await self._room.begin()
        while True:
            for letter in self._current.due():
                await connection.send(letter)
            self._room.news.clear()
            if await self._send_waiting(connection):
                continue
            if self._finishing.is_set():
                break
            with suppress(TimeoutError):
                await asyncio.wait_for(self._room.news.wait(), self._current.due_in_s)
        for letter in self._current.last():
            await connection.send(letter)
        await self._room.settle()

    async def _send_waiting(self, connection: Connection) -> int:
        waiting = await self._room.first(_AT_ONCE)
        letters = [Letter(self._line.access.broker.topic(one.topic), one.payload, qos=1) for one in waiting]
        sent = await connection.send_all(letters)
        await self._room.note_sent(waiting[:sent])
        if sent < len(waiting):
            raise BrokerAway("it does not acknowledge what it is sent")
        return sent
