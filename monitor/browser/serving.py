"""The screen for browsers, from the watching process: it answers viewers and keeps the page's server running."""

import asyncio
import os
import signal
import socket
import sys
from asyncio.subprocess import PIPE, STDOUT, Process, create_subprocess_exec
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory

from acquire.clock import SystemClock
from monitor.browser.pictures import Pictures, offering
from monitor.dashboard.picture import Watched
from monitor.text import plain

_ENDING_S = 3.0
"""How long server and viewers have to end by themselves; a browser that answers needs a tenth of it."""


@asynccontextmanager
async def serving(watched: Watched, listening: socket.socket, tell: Callable[[str], object]) -> AsyncIterator[None]:
    """Serve the screen of `watched` at a listening socket until the block is left.

    `tell` is given one line if the page's server ends before that; what is watched goes on. No process is left behind.
    Raises AddressError where viewers cannot be answered.
    """
    with TemporaryDirectory(prefix="coilcall-") as private:  # which nobody else may enter
        path = Path(private) / "pictures"
        async with offering(Pictures(watched, SystemClock()), path), asyncio.TaskGroup() as tasks:
            server = await _start(listening, path)
            telling = tasks.create_task(_tell_of_end(server, tell))
            try:
                yield
            finally:
                telling.cancel()
                await _end(server)


async def _start(listening: socket.socket, path: Path) -> Process:
    command = [sys.executable, "-P", "-m", "monitor.browser.web", str(listening.fileno()), str(path)]
    return await create_subprocess_exec(
        *command,
        stdin=PIPE,
        stdout=PIPE,
        stderr=STDOUT,
        pass_fds=[listening.fileno()],
        env=os.environ | {"TERM": "xterm-256color"},  # the page's, whatever this terminal is
        start_new_session=True,
    )


async def _tell_of_end(server: Process, tell: Callable[[str], object]) -> None:
    assert server.stdout is not None
    said = b""
    while more := await server.stdout.read(4096):
        said = (said + more)[-4096:]
    last = plain(said.decode(errors="replace").strip().rpartition("\n")[2]) or "no word"
    tell(f"the browser page is served no more: its server ended with status {await server.wait()}: {last}")


async def _end(server: Process) -> None:
    """End the server and, where they hang, it and its viewers, which are one group of processes."""
    with suppress(ProcessLookupError):
        server.terminate()
    with suppress(TimeoutError):
        async with asyncio.timeout(_ENDING_S):
            await server.wait()
    with suppress(ProcessLookupError):
        os.killpg(server.pid, signal.SIGKILL)
    await server.wait()
