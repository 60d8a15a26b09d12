"""A browser without a screen, told what to do over its own debugging protocol."""

import asyncio
import base64
import json
import shutil
from asyncio.subprocess import DEVNULL, Process, create_subprocess_exec
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

import aiohttp
import pytest

needs_chromium = pytest.mark.skipif(shutil.which("chromium") is None, reason="no chromium is installed")
_AXES = (("x", "width"), ("y", "height"))
PHONE = (390, 844)
"""Width and height of a common phone, in CSS pixels."""


class Page:
    """One page of the browser. `call` is a method of the protocol, by its name there."""

    def __init__(self, socket: aiohttp.ClientWebSocketResponse) -> None:
        self._socket = socket
        self._calls = 0
        self.drawn = b""
        """All that was written to the terminal in the page."""
        self.asked: list[str] = []
        """The address of everything that the page asked for."""
        self._screen = ""

    async def call(self, method: str, **parameters: object) -> dict[str, Any]:
        self._calls += 1
        await self._socket.send_json({"id": self._calls, "method": method, "params": parameters})
        while (answer := await self._next()).get("id") != self._calls:
            pass
        assert "error" not in answer, answer["error"]
        result: dict[str, Any] = answer["result"]
        return result

    async def _next(self) -> dict[str, Any]:
        message: dict[str, Any] = json.loads(await self._socket.receive_str(timeout=60))
        if message.get("method") == "Network.webSocketFrameReceived":
            frame = message["params"]["response"]
            self.drawn += base64.b64decode(frame["payloadData"]) if frame["opcode"] == 2 else b""
        if message.get("method") == "Network.requestWillBeSent":
            self.asked.append(message["params"]["request"]["url"])
        if message.get("method") == "Network.webSocketCreated":
            self._screen = message["params"]["url"]
        return message

    async def read_until(self, words: str) -> None:
        """Take in what is drawn until the words were among it."""
        while words.encode() not in self.drawn:
            await self._next()

    async def wait_for(self, condition: str) -> None:
        """Ask the page until it is so; meanwhile what is drawn is taken in."""
        while not await self.script(condition):  # noqa: ASYNC110  the page has no event for it
            await asyncio.sleep(0.05)

    def terminal_size(self) -> tuple[int, int]:
        """Columns and rows of the terminal in the page, as it asked for them."""
        asked = parse_qs(urlsplit(self._screen).query)
        return int(asked["width"][0]), int(asked["height"][0])

    async def tap(self, selector: str) -> None:
        """Touch the middle of something."""
        place = f"document.querySelector('{selector}').getBoundingClientRect()"
        point = {axis: await self.script(f"{place}.{axis} + {place}.{side} / 2") for axis, side in _AXES}
        await self._touch(point)

    async def swipe(self, start: tuple[int, int], end: tuple[int, int]) -> None:
        """Move a finger from here to there."""
        await self._touch(*({"x": float(x), "y": float(y)} for x, y in (start, end)))

    async def _touch(self, first: dict[str, float], *others: dict[str, float]) -> None:
        await self.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[first])
        for point in others:
            await self.call("Input.dispatchTouchEvent", type="touchMove", touchPoints=[point])
        await self.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    async def script(self, code: str) -> Any:  # noqa: ANN401  whatever it gives
        return (await self.call("Runtime.evaluate", expression=code))["result"].get("value")

    async def press(self, key: str) -> None:
        await self.call("Input.dispatchKeyEvent", type="keyDown", text=key, key=key)
        await self.call("Input.dispatchKeyEvent", type="keyUp", key=key)

    async def screenshot(self, kind: str = "png") -> bytes:
        """The page as png or webp."""
        return base64.b64decode((await self.call("Page.captureScreenshot", format=kind))["data"])


class Chromium:
    """The browser; every page is as large as it is told, and touched or not."""

    def __init__(self, http: aiohttp.ClientSession, at: str) -> None:
        self._http = http
        self._at = at

    @asynccontextmanager
    async def page(
        self, url: str, size: tuple[int, int] = (1280, 800), *, is_touch: bool = False
    ) -> AsyncIterator[Page]:
        """Open a page of this size in CSS pixels, with or without a touch screen."""
        async with self._http.put(f"{self._at}/json/new?about:blank") as made:
            address = (await made.json())["webSocketDebuggerUrl"]
        async with self._http.ws_connect(address, max_msg_size=0) as socket:
            page = Page(socket)
            shape = {"width": size[0], "height": size[1], "deviceScaleFactor": 0, "mobile": is_touch}
            await page.call("Emulation.setDeviceMetricsOverride", **shape)
            await page.call("Emulation.setTouchEmulationEnabled", enabled=is_touch)
            await page.call("Emulation.setFocusEmulationEnabled", enabled=True)
            await page.call("Network.enable")
            await page.call("Page.navigate", url=url)
            yield page
            await page.call("Page.close")


@asynccontextmanager
async def chromium(profile: Path, *, pixels: int = 1) -> AsyncIterator[Chromium]:
    """Start it with a profile of its own, and end it; a CSS pixel is so many of the screen's, as phones have 2 or 3."""
    command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"]
    options = [f"--user-data-dir={profile}", f"--force-device-scale-factor={pixels}", "--remote-debugging-port=0"]
    browser = await create_subprocess_exec(*command, *options, stderr=DEVNULL)
    try:
        port = await _port_in(profile / "DevToolsActivePort", browser)
        async with aiohttp.ClientSession() as http:
            yield Chromium(http, f"http://127.0.0.1:{port}")
    finally:
        browser.terminate()
        await browser.wait()


async def _port_in(file: Path, browser: Process) -> str:
    """Wait for the file in which it says where it listens."""
    while not (told := _text(file)):
        assert browser.returncode is None, f"chromium ended with status {browser.returncode} before it listened"
        await asyncio.sleep(0.05)
    return told.splitlines()[0]


def _text(file: Path) -> str:
    return file.read_text(encoding="ascii") if file.exists() else ""
