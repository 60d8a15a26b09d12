"""A terminal that nobody reads holds up nothing; tests/bench/slow_terminal.py measures it."""

import os
import signal
import sqlite3
import subprocess
import sys
import termios
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import pytest

from tests.bench.slow_terminal import measure, not_at_all

SECONDS = 8.0
"""Without care everything stood still after three or four."""


def test_a_terminal_that_is_not_read_stops_neither_recording_nor_analysis() -> None:
    _, recorded_s, analysed_s, lost = measure(not_at_all, SECONDS)
    assert min(recorded_s, analysed_s) > 0.75 * SECONDS
    assert lost == 0


def fill(terminal: str) -> None:
    """Write to it until it takes no more."""
    end = os.open(terminal, os.O_WRONLY | os.O_NONBLOCK | os.O_NOCTTY)
    with suppress(BlockingIOError):
        while True:
            os.write(end, b"x")
    os.close(end)


@contextmanager
def watching(folder: Path, *, is_leader: bool = False) -> Iterator[tuple[subprocess.Popen[bytes], int, str]]:
    """`watch --record` on a terminal, its session's own if it `is_leader`, once the engine runs.

    Gives the process, our end of the terminal, and its name.
    """
    lead, follow = os.openpty()
    termios.tcsetwinsize(follow, (40, 120))
    take = "import fcntl, termios; fcntl.ioctl(0, termios.TIOCSCTTY, 0); " if is_leader else ""
    command = f"{take}from monitor.cli import main; main()"
    with subprocess.Popen(
        [sys.executable, "-c", command, "watch", "--record", str(folder)],
        stdin=follow, stdout=follow, stderr=follow, env=os.environ | {"TERM": "xterm"}, start_new_session=is_leader,
    ) as process:  # fmt: skip
        name = os.ttyname(follow)
        os.close(follow)
        seen = b""
        while b"RUNNING" not in seen:
            seen += os.read(lead, 65536)
        try:
            yield process, lead, name
        finally:
            process.kill()


def is_whole(folder: Path) -> bool:
    """Whether the recording was ended as it should be."""
    with closing(sqlite3.connect(folder / "ledger.sqlite")) as book:
        return bool(book.execute("SELECT count(*) FROM coverage").fetchone()[0])


def test_a_watch_on_a_terminal_that_is_not_read_ends_when_it_is_told_to_and_its_recording_is_whole(
    tmp_path: Path,
) -> None:
    with watching(tmp_path / "kept") as (process, lead, name):
        fill(name)
        process.send_signal(signal.SIGTERM)
        assert process.wait(30.0) == 0
        os.close(lead)
    assert is_whole(tmp_path / "kept")


@pytest.mark.parametrize("is_leader", [True, False], ids=["told by a signal", "told by nobody"])
def test_a_watch_whose_terminal_is_closed_ends_and_its_recording_is_whole(is_leader: bool, tmp_path: Path) -> None:
    with watching(tmp_path / "kept", is_leader=is_leader) as (process, lead, _):
        os.close(lead)
        assert process.wait(30.0) == 0
    assert is_whole(tmp_path / "kept")
