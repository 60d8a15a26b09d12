import asyncio
import os
import signal
import socket
import tempfile
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import aiohttp
import pytest

from acquire.errors import AddressError
from monitor.browser.place import Place, listen
from monitor.browser.serving import serving
from monitor.browser.web import MOST_SCREENS
from tests.monitor.browser.processes import gone, inside, running
from tests.monitor.dashboard.pictures import Still, snapshot

DEADLINE_S = 30


@pytest.fixture
def private(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where the private folder of this test's server is made."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


@pytest.fixture
def listening() -> socket.socket:
    return listen(Place("127.0.0.1", 0))


@asynccontextmanager
async def served(
    watched: Still, listening: socket.socket, told: list[str]
) -> AsyncIterator[tuple[str, aiohttp.ClientSession]]:
    """The address of the page, and a client."""
    url = "http://{}:{}".format(*listening.getsockname())
    with listening:
        async with (
            asyncio.timeout(DEADLINE_S),
            serving(watched, listening, told.append),
            aiohttp.ClientSession() as http,
        ):
            yield url, http


async def read_until(screen: aiohttp.ClientWebSocketResponse, words: bytes) -> None:
    drawn = b""
    while words not in drawn:
        drawn += await screen.receive_bytes()


async def test_a_screen_is_drawn_and_its_key_makes_a_mark(private: Path, listening: socket.socket) -> None:
    watched = Still(snapshot(missing=4))
    async with served(watched, listening, []) as (url, http):
        async with http.get(url) as page:
            assert "textual.js" in await page.text()
        async with http.ws_connect(f"{url}/ws?width=80&height=40", origin=url) as screen:
            await read_until(screen, b"CYLINDER 4")
            assert [mode for _, mode in inside(private)] == [0o700]
            assert len(running(str(private))) >= 2
            await screen.send_json(["stdin", "m"])
            await read_until(screen, b"by browser")
    assert [mark.by for mark in watched.now.marks] == ["browser"]
    await gone(str(private))
    assert inside(private) == []


async def test_a_page_from_elsewhere_and_one_screen_too_many_are_refused(
    private: Path, listening: socket.socket
) -> None:
    async with served(Still(), listening, []) as (url, http):
        async with http.get(f"{url}/ws", headers={"Origin": "http://elsewhere.example"}) as answer:
            assert answer.status == 403
        screens = [await http.ws_connect(f"{url}/ws", origin=url) for _ in range(MOST_SCREENS)]
        async with http.get(f"{url}/ws", headers={"Origin": url}) as answer:
            assert answer.status == 503
        await asyncio.gather(*(screen.close() for screen in screens))
    await gone(str(private))


@pytest.mark.usefixtures("private")
async def test_a_terminal_larger_than_any_screen_is_not_drawn(listening: socket.socket) -> None:
    async with served(Still(), listening, []) as (url, http):
        huge = await http.ws_connect(f"{url}/ws?width=1000000&height=1000000", origin=url)
        grown = await http.ws_connect(f"{url}/ws", origin=url)
        await read_until(grown, b"RUNNING")
        await grown.send_json(["resize", {"width": 1_000_000, "height": 1_000_000}])
        for screen in (huge, grown):
            while not screen.closed:
                await screen.receive()


async def test_a_server_that_dies_is_told_and_what_is_watched_goes_on(private: Path, listening: socket.socket) -> None:
    told: list[str] = []
    async with served(Still(), listening, told) as (url, http):
        async with http.get(url):
            pass
        os.kill(running(str(private))[0], signal.SIGKILL)
        while not told:  # noqa: ASYNC110  until it was noticed
            await asyncio.sleep(0.01)
    assert told == ["the browser page is served no more: its server ended with status -9: no word"]


async def test_a_browser_that_hangs_does_not_hold_up_the_end(private: Path, listening: socket.socket) -> None:
    async with served(Still(), listening, []) as (url, _):
        reader, writer = await asyncio.open_connection(*listening.getsockname())
        writer.write(
            f"GET /ws HTTP/1.1\r\nHost: {url[7:]}\r\nOrigin: {url}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
            "Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: MDEyMzQ1Njc4OWFiY2RlZg==\r\n\r\n".encode()
        )
        assert b" 101 " in await reader.readline()  # and then nothing is read or said
    writer.close()
    await gone(str(private))


async def test_no_place_for_the_socket_is_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    deep = tmp_path / ("x" * 100)
    deep.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(deep))
    with listen(Place("127.0.0.1", 0)) as listening, pytest.raises(AddressError, match="TMPDIR may name another place"):
        async with serving(Still(), listening, print):
            pass
