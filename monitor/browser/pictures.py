"""The watching process's end: a picture to whoever asks, over a socket that only its own user can open."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

from acquire.clock import Clock
from acquire.errors import AddressError
from monitor.dashboard.picture import Watched
from monitor.dashboard.sheet import PULLS_PER_S
from monitor.picture_json import encode

PICTURE, MARK = b"picture\n", b"mark\n"
"""What may be asked. Either is answered by one picture, one line of JSON; a mark is made first."""
PATIENCE_S = 10.0
"""Who asks for nothing for so long, or does not take the answer, is let go; a screen asks ten times a second."""
_LONGEST_QUESTION = 64


class Pictures:
    """Draws up at most as many pictures as a screen shows, however many ask."""

    def __init__(self, watched: Watched, clock: Clock) -> None:
        self._watched = watched
        self._clock = clock
        self._drawn_at = -1.0
        self._line = b""

    async def answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answer one viewer until it goes, asks for something else, or hangs."""
        try:
            while await self._answer_once(reader, writer):
                pass
        except (OSError, ValueError):  # a timeout is an OSError
            writer.transport.abort()
        finally:
            writer.close()

    async def _answer_once(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> bool:
        async with asyncio.timeout(PATIENCE_S):
            asked = await reader.readline()
        if asked not in (PICTURE, MARK):
            return False
        if asked == MARK:
            self._watched.mark("browser")
        writer.write(self.line(is_new=asked == MARK))
        async with asyncio.timeout(PATIENCE_S):
            await writer.drain()
        return True

    def line(self, *, is_new: bool = False) -> bytes:
        """The latest picture; drawn up anew when it is older than a screen would show, or `is_new` is wanted."""
        now = self._clock.now()
        if is_new or not self._line or now - self._drawn_at >= 1 / PULLS_PER_S:
            self._drawn_at = now
            self._line = encode(self._watched.snapshot(), self._watched.source()) + b"\n"
        return self._line


@asynccontextmanager
async def offering(pictures: Pictures, path: Path) -> AsyncIterator[None]:
    """Answer at this socket until the block is left; then every viewer is let go. Raises AddressError."""
    tasks, answering = asyncio.TaskGroup(), set[asyncio.Task[None]]()

    def begin(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = tasks.create_task(pictures.answer(reader, writer))
        answering.add(task)
        task.add_done_callback(answering.discard)

    try:
        server = await asyncio.start_unix_server(begin, path, limit=_LONGEST_QUESTION, start_serving=False)
    except OSError as error:
        raise AddressError(f"{path}: no socket can be made there: {error}; TMPDIR may name another place") from error
    async with server, tasks:
        await server.start_serving()
        try:
            yield
        finally:
            server.close()
            for task in answering:
                task.cancel()
