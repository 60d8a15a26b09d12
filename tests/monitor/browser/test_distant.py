import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from acquire.clock import SystemClock
from monitor.browser import distant
from monitor.browser.distant import Distant
from monitor.browser.pictures import Pictures, offering
from monitor.source_view import SourceState
from tests.monitor.dashboard.pictures import Still


@asynccontextmanager
async def following(path: Path) -> AsyncIterator[tuple[Distant, asyncio.Event]]:
    """Something distant that is followed, and the event of its next answer."""
    heard = asyncio.Event()
    watched = Distant(path, heard.set)
    async with asyncio.TaskGroup() as tasks:
        task = tasks.create_task(watched.follow())
        async with asyncio.timeout(10):
            yield watched, heard
        task.cancel()


async def lost(watched: Distant) -> None:
    while watched.source().state is not SourceState.LOST:  # noqa: ASYNC110  as a screen looks
        await asyncio.sleep(0)


async def test_before_the_first_answer_it_is_opening(tmp_path: Path) -> None:
    watched = Distant(tmp_path / "p", lambda: None)
    assert watched.source().state is SourceState.OPENING
    assert watched.snapshot().cylinders == ()


async def test_what_is_shown_is_what_the_other_end_watches(tmp_path: Path) -> None:
    still = Still()
    async with offering(Pictures(still, SystemClock()), tmp_path / "p"), following(tmp_path / "p") as (watched, heard):
        await heard.wait()
        assert (watched.snapshot(), watched.source()) == (still.now, still.origin)


async def test_every_mark_is_made_at_the_other_end_once(tmp_path: Path) -> None:
    still = Still()
    async with offering(Pictures(still, SystemClock()), tmp_path / "p"), following(tmp_path / "p") as (watched, heard):
        watched.mark("key")
        watched.mark("key")
        while len(watched.snapshot().marks) < 2:
            heard.clear()
            await heard.wait()
        heard.clear()
        await heard.wait()
    assert [mark.by for mark in still.now.marks] == ["browser", "browser"]


async def test_where_nobody_is_the_source_is_lost_and_asked_for_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(distant, "_AGAIN_S", 0.01)
    async with following(tmp_path / "p") as (watched, heard):
        await lost(watched)
        assert watched.source().reason == "the program that watches has ended"
        async with offering(Pictures(Still(), SystemClock()), tmp_path / "p"):
            await heard.wait()
            assert watched.source().state is SourceState.FLOWING


async def test_where_nobody_is_for_long_nobody_is_asked_any_more(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(distant, "_AGAIN_S", 0.0)
    async with asyncio.timeout(10):
        await Distant(tmp_path / "p", lambda: None).follow()


async def test_a_picture_that_stands_still_does_not_pass_for_one_of_now(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(distant, "_ANSWER_S", 0.05)
    with socket.socket(socket.AF_UNIX) as stopped:
        stopped.bind(str(tmp_path / "p"))
        stopped.listen()
        async with following(tmp_path / "p") as (watched, _):
            await lost(watched)
            assert watched.source().reason == "the program that watches does not answer"


async def test_an_answer_that_is_no_picture_is_told_and_nothing_of_it_shown(tmp_path: Path) -> None:
    async def babble(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        await reader.readline()
        writer.write(b'{"schema": "else"}\n')
        writer.close()

    server = await asyncio.start_unix_server(babble, tmp_path / "p")
    async with server, following(tmp_path / "p") as (watched, _):
        await lost(watched)
        assert watched.source().reason.startswith("picture: ")
        assert watched.snapshot().cylinders == ()
