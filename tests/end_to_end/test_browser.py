"""The screen in browsers, from the command line to the pixels."""

import asyncio
import io
import os
import signal
import socket
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import AsyncExitStack, closing, contextmanager
from pathlib import Path

import aiohttp
import numpy as np
import pytest
from skimage.io import imread

from monitor.dashboard.palette import VERMILLION
from tests.monitor.browser.chromium import PHONE, Page, chromium, needs_chromium
from tests.monitor.browser.processes import gone, inside, running
from tests.monitor.test_watch import Terminal

COMMAND = [sys.executable, "-c", "from monitor.cli import main; main()", "watch"]
FAULTY = "simulated:?rate=20000&pace=1&fault=no-answer,cylinder=4,probability=0.5"
DEADLINE_S = 50


@contextmanager
def watching(private: Path, *options: object) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """`coilcall watch --serve` without a terminal, and the address it tells; `private` is in its family's commands."""
    private.mkdir()
    command = [*COMMAND, FAULTY, "--serve", "0", *map(str, options)]
    environment = os.environ | {"TMPDIR": str(private), "TERM": "dumb"}
    with subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=environment
    ) as owner:
        try:
            assert owner.stderr is not None
            said = [owner.stderr.readline() for _ in range(3)]
            assert said[1:] == ["Only this machine can reach it.\n", "Ctrl-C ends it.\n"]
            yield owner, said[0].split()[-1]
        finally:
            owner.kill()


async def share_of(colour: str, page: Page) -> float:
    """How much of what the page shows has this colour (`#RRGGBB`)."""
    pixels = imread(io.BytesIO(await page.screenshot()))[..., :3]
    return float(np.all(pixels == list(bytes.fromhex(colour[1:])), axis=-1).mean())


@needs_chromium
@pytest.mark.timeout(120)  # a browser and five processes, on a machine that may have more to do
async def test_phone_and_tablet_show_the_fault_and_mark_it_and_learn_of_the_end(tmp_path: Path) -> None:
    private, kept = tmp_path / "private", tmp_path / "kept"
    with watching(private, "--record", kept) as (owner, url):
        async with asyncio.timeout(2 * DEADLINE_S), AsyncExitStack() as stack:
            browser = await stack.enter_async_context(chromium(tmp_path / "profile"))
            phone = await stack.enter_async_context(browser.page(url, PHONE, is_touch=True))
            tablet = await stack.enter_async_context(browser.page(url, (1024, 768)))
            for page in (phone, tablet):
                await shows_the_fault(page, url)
            await is_readable_on_a_phone(phone)
            await phone.tap("[data-key=m]")
            await tablet.read_until("MARK 1 by browser")
            await tablet.press("m")
            await phone.read_until("MARK 2 by browser")
            assert len(running(str(private))) == 3  # the server and two viewers
            owner.send_signal(signal.SIGTERM)
            for page in (phone, tablet):
                await page.wait_for("document.body.classList.contains('-closed')")
            assert await asyncio.to_thread(owner.wait, DEADLINE_S) == 0
            await gone(str(private))
    assert inside(private) == []
    with closing(sqlite3.connect(kept / "ledger.sqlite")) as ledger:
        assert ledger.execute("SELECT number, by FROM marks").fetchall() == [(1, "browser"), (2, "browser")]


async def shows_the_fault(page: Page, url: str) -> None:
    """In words and in its colour; and all that is needed for it came from there."""
    await page.read_until("CYLINDER 4")
    await page.read_until("details")  # in the line of keys, drawn once the page has the keyboard
    assert await share_of(VERMILLION, page) > 0.02
    assert [one for one in page.asked if not one.startswith(url)] == []


async def is_readable_on_a_phone(page: Page) -> None:
    """All of it is on the screen, and a character is a millimetre wide: a phone has some 6 CSS pixels to one."""
    assert await page.script("document.documentElement.scrollWidth") == PHONE[0]
    columns, rows = page.terminal_size()
    assert columns >= 60
    assert rows >= 40
    assert PHONE[0] / columns >= 5.5


async def test_a_kill_of_what_watches_leaves_no_process(tmp_path: Path) -> None:
    private = tmp_path / "private"
    async with asyncio.timeout(DEADLINE_S), aiohttp.ClientSession() as http:
        with watching(private) as (owner, url):
            async with http.ws_connect(f"{url}/ws", origin=url) as screen:
                await screen.receive_bytes()
                assert len(running(str(private))) == 2
                owner.kill()
                await gone(str(private))


def test_on_a_terminal_it_is_said_first_where_and_to_whom_and_the_screen_is_below() -> None:
    terminal = Terminal("watch", "--serve", "0")
    terminal.read_until(b"Only this machine can reach it.")
    terminal.press(b"q")
    terminal.read_until(b"RUNNING")
    terminal.press(b"q")
    assert terminal.end() == 0
    assert b"In a browser: http://127.0.0.1:" in terminal.seen.partition(b"\x1b[?1049h")[0]
    assert b"Traceback" not in terminal.seen


@pytest.mark.parametrize("is_taken", [True, False])
def test_a_place_that_cannot_be_had_is_one_line_and_status_2(*, is_taken: bool) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        place = str(taken.getsockname()[1]) if is_taken else "phone"
        done = subprocess.run([*COMMAND, "--serve", place], capture_output=True, text=True, timeout=DEADLINE_S)
    assert done.returncode == 2
    (line,) = done.stderr.splitlines()
    assert line.startswith("coilcall: --serve ")
    assert ("in use; another would be right" if is_taken else "as 8000 or 0.0.0.0:8000") in line
