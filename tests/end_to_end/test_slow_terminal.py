"""A terminal that nobody reads holds up nothing; tests/bench/slow_terminal.py measures it."""

import os
import signal
import sqlite3
import subprocess
import sys
import termios
from contextlib import closing, suppress
from pathlib import Path

from acquire.recording import read_info
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


def test_a_watch_on_a_terminal_that_is_not_read_ends_when_it_is_told_to_and_its_recording_is_whole(
    tmp_path: Path,
) -> None:
    lead, follow = os.openpty()
    termios.tcsetwinsize(follow, (40, 120))
    program = [
        sys.executable,
        "-c",
        "from monitor.cli import main; main()",
        "watch",
        "--record",
        str(tmp_path / "kept"),
    ]
    with subprocess.Popen(
        program, stdin=follow, stdout=follow, stderr=follow, env=os.environ | {"TERM": "xterm"}
    ) as process:
        seen = b""
        while b"RUNNING" not in seen:
            seen += os.read(lead, 65536)
        fill(os.ttyname(follow))
        process.send_signal(signal.SIGTERM)
        try:
            assert process.wait(30.0) == 0
        finally:
            process.kill()
    os.close(follow)
    os.close(lead)
    assert read_info(tmp_path / "kept").source.startswith("simulated:")
    with closing(sqlite3.connect(tmp_path / "kept" / "ledger.sqlite")) as book:
        assert book.execute("SELECT count(*) FROM coverage").fetchone() == (1,)
