import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from pathlib import Path

import pytest

from monitor.browser import pictures
from monitor.browser.pictures import MARK, PICTURE, Pictures, offering
from monitor.picture_json import decode
from monitor.snapshot import Snapshot
from tests.monitor.dashboard.pictures import Still, snapshot
from tests.monitor.streams import WaitingClock


class Counted(Still):
    """Something watched that counts how often it was looked at."""

    looks = 0

    def snapshot(self) -> Snapshot:
        self.looks += 1
        return super().snapshot()


class Viewer:
    """One end of the socket."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader, self._writer = reader, writer

    async def ask(self, question: bytes) -> Snapshot | None:
        """Send it; the picture, or None where nobody answers any more."""
        self._writer.write(question)
        async with asyncio.timeout(5):
            line = await self._reader.readline()
        return decode(line)[0] if line else None

    async def is_let_go(self) -> bool:
        async with asyncio.timeout(5):
            try:
                return not await self._reader.read()
            except ConnectionError:
                return True


@asynccontextmanager
async def viewer(path: Path) -> AsyncIterator[Viewer]:
    reader, writer = await asyncio.open_unix_connection(path, limit=2**20)
    try:
        yield Viewer(reader, writer)
    finally:
        writer.close()


async def test_who_asks_is_given_the_state_of_now(tmp_path: Path) -> None:
    watched, clock = Still(), WaitingClock()
    async with offering(Pictures(watched, clock), tmp_path / "p"), viewer(tmp_path / "p") as one:
        assert await one.ask(PICTURE) == watched.now
        watched.now = snapshot(missing=4)
        clock.time_s += 0.11
        assert await one.ask(PICTURE) == watched.now


async def test_a_mark_is_made_here_and_is_in_the_answer(tmp_path: Path) -> None:
    watched = Still()
    async with offering(Pictures(watched, WaitingClock()), tmp_path / "p"), viewer(tmp_path / "p") as one:
        await one.ask(PICTURE)
        shown = await one.ask(MARK)
        assert shown is not None
        assert [mark.by for mark in shown.marks] == ["browser"]
    assert len(watched.now.marks) == 1


async def test_however_many_ask_a_picture_is_drawn_up_ten_times_a_second_at_most(tmp_path: Path) -> None:
    watched, clock = Counted(), WaitingClock()
    at = tmp_path / "p"
    async with offering(Pictures(watched, clock), at), viewer(at) as one, viewer(at) as other:
        for _ in range(50):
            await one.ask(PICTURE)
            await other.ask(PICTURE)
            clock.time_s += 0.01
    assert 5 <= watched.looks <= 6


@pytest.mark.parametrize("question", [b"draw\n", b"x" * 1000 + b"\n", b"\x00\xff\n", b"picture \n"])
async def test_who_asks_for_anything_else_is_let_go(tmp_path: Path, question: bytes) -> None:
    async with offering(Pictures(Still(), WaitingClock()), tmp_path / "p"), viewer(tmp_path / "p") as one:
        assert await one.ask(question) is None


async def test_who_hangs_is_let_go_and_the_others_are_answered(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "PATIENCE_S", 0.05)
    async with offering(Pictures(Still(), WaitingClock()), tmp_path / "p"), viewer(tmp_path / "p") as hanging:
        assert await hanging.is_let_go()
        async with viewer(tmp_path / "p") as one:
            assert await one.ask(PICTURE)


async def test_who_asks_and_never_reads_is_let_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pictures, "PATIENCE_S", 0.05)
    monkeypatch.setattr(Pictures, "line", lambda *_, **__: b"x" * 2**24)
    async with offering(Pictures(Still(), WaitingClock()), tmp_path / "p"):
        with socket.socket(socket.AF_UNIX) as never_read:
            never_read.connect(str(tmp_path / "p"))
            never_read.sendall(PICTURE)
            before = asyncio.all_tasks()
            while not (answering := asyncio.all_tasks() - before):  # noqa: ASYNC110  for one step of the loop
                await asyncio.sleep(0)
            async with asyncio.timeout(5):
                await asyncio.gather(*answering)


async def test_leaving_lets_everybody_go(tmp_path: Path) -> None:
    async with AsyncExitStack() as stack:
        async with offering(Pictures(Still(), WaitingClock()), tmp_path / "p"):
            one = await stack.enter_async_context(viewer(tmp_path / "p"))
            assert await one.ask(PICTURE)
        assert await one.is_let_go()
