"""The viewer's end: what another process watches, as it was last heard of."""

import asyncio
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from acquire.errors import FormatError
from monitor.browser.pictures import MARK, PICTURE
from monitor.dashboard.sheet import PULLS_PER_S
from monitor.picture_json import LONGEST, decode
from monitor.snapshot import Snapshot
from monitor.source_view import SourceState, SourceView

_ANSWER_S = 2.0
"""Who does not answer for so long does not watch; a picture that stands still must not pass for one of now."""
_AGAIN_S = 1.0
"""How long after a refusal it is tried again."""
_MOST_REFUSALS = 10


class Distant:
    """Something to be watched that is asked for over a socket; `heard` is called at every answer."""

    def __init__(self, path: Path, heard: Callable[[], object]) -> None:
        self._path = path
        self._heard = heard
        self._marks = 0
        self._refusals = 0
        self._snapshot = Snapshot(0.0, None, "stopped", ())
        self._source = SourceView("")

    def snapshot(self) -> Snapshot:
        """The analysis when it was last heard of."""
        return self._snapshot

    def source(self) -> SourceView:
        """The stream when it was last heard of; lost, where nobody answers."""
        return self._source

    def mark(self, by: str) -> None:  # noqa: ARG002  a mark from here is one from a browser
        """Ask for a mark; it is made within a tenth of a second and comes back with the next picture."""
        self._marks += 1

    async def follow(self) -> None:
        """Ask as often as the screen shows; who does not answer is asked again, but not for ever."""
        while self._refusals < _MOST_REFUSALS:
            try:
                await self._follow_once()
            except (OSError, ValueError) as error:
                self._refusals += 1
                self._source = replace(self._source, state=SourceState.LOST, reason=_reason(error))
            await asyncio.sleep(_AGAIN_S)

    async def _follow_once(self) -> None:
        reader, writer = await asyncio.open_unix_connection(self._path, limit=LONGEST)
        try:
            while True:
                await self._ask(reader, writer)
                await asyncio.sleep(1 / PULLS_PER_S)
        finally:
            writer.close()

    async def _ask(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        is_mark = self._marks > 0
        writer.write(MARK if is_mark else PICTURE)
        async with asyncio.timeout(_ANSWER_S):
            line = await reader.readline()
        if not line:
            raise ConnectionError
        self._snapshot, self._source = decode(line)
        self._marks -= is_mark
        self._refusals = 0
        self._heard()


def _reason(error: Exception) -> str:
    if isinstance(error, FormatError):
        return str(error)
    return f"the program that watches {'does not answer' if isinstance(error, TimeoutError) else 'has ended'}"
