"""`log` as a person and a machine have it: on a terminal of its own, with keys, signals, and terminals that go."""

import fcntl
import json
import os
import re
import select
import shlex
import signal
import sqlite3
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest

from acquire.recording import read_blocks, read_info
from tests.bench.unplug import judged, running

DEADLINE_S = 30.0
README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8").splitlines()
RATE_HZ = 10_000
ENGINE = f"simulated:?rate={RATE_HZ}&pace=1&fault=no-answer,cylinder=4,probability=0.5"
BEGIN = """
import fcntl, os, signal, termios
for number in (signal.SIGHUP, signal.SIGUSR1, signal.SIGTERM):  # whatever this runs under ignores
    signal.signal(number, signal.SIG_DFL)
signal.signal(signal.SIGINT, signal.default_int_handler)
if os.isatty(0):
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
"""
MAIN = "from monitor.cli import main\nmain()\n"


Ends = tuple[int | None, int | None, int | None]
"""stdin, stdout, stderr; None is the terminal."""
ITS_OWN: Ends = (None, None, None)


class Terminal:
    """A log on a terminal that is its own, and what it wrote there."""

    def __init__(self, folder: Path, command: list[str], ends: Ends) -> None:
        self.kept = folder / "kept"
        self.lead, self.follow = os.openpty()
        termios.tcsetwinsize(self.follow, (40, 100))
        self.mode = termios.tcgetattr(self.follow)
        stdin, stdout, stderr = (self.follow if end is None else end for end in ends)
        self.process = subprocess.Popen(command, stdin=stdin, stdout=stdout, stderr=stderr, start_new_session=True)
        self.seen = b""

    def until(self, wanted: bytes) -> None:
        """Read until it has written that."""
        deadline = time.monotonic() + DEADLINE_S
        while wanted not in self.seen:
            assert time.monotonic() < deadline, f"{wanted!r} did not come: {self.seen[-500:]!r}"
            self._read()

    def press(self, keys: bytes) -> None:
        os.write(self.lead, keys)

    def end(self) -> int:
        """Read on until it has ended; its exit status."""
        deadline = time.monotonic() + DEADLINE_S
        while self.process.poll() is None and time.monotonic() < deadline:
            self._read()
        self._read()
        return self.process.wait(1.0)

    def go(self) -> None:
        """Close it, as one closes a window: the system hangs up on whoever it belonged to."""
        for end in (self.follow, self.lead):
            os.close(end)

    def rows(self, table: str) -> list[tuple[Any, ...]]:
        with closing(sqlite3.connect(self.kept / "ledger.sqlite")) as book:
            assert book.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            return book.execute(f"SELECT * FROM {table}").fetchall()

    @property
    def mode_now(self) -> list[Any]:
        return [*termios.tcgetattr(self.follow)]

    def _read(self) -> None:
        if select.select([self.lead], [], [], 0.1)[0]:
            self.seen += os.read(self.lead, 65536)


@contextmanager
def logging(folder: Path, *options: str, begin: str = BEGIN, ends: Ends = ITS_OWN) -> Iterator[Terminal]:
    program = [sys.executable, "-c", begin + MAIN, "log", ENGINE, *options, "--to", str(folder / "kept")]
    with on_terminal(folder, program, ends) as terminal:
        yield terminal


@contextmanager
def on_terminal(folder: Path, command: list[str], ends: Ends = ITS_OWN) -> Iterator[Terminal]:
    terminal = Terminal(folder, command, ends)
    try:
        yield terminal
    finally:
        terminal.process.kill()
        terminal.process.wait()
        with suppress(OSError):
            terminal.go()


def samples_kept(folder: Path) -> int:
    return sum(block.samples for block in read_blocks(folder, read_info(folder)))


def test_any_key_marks_q_stops_and_the_terminal_is_as_it_was(tmp_path: Path) -> None:
    with logging(tmp_path) as log:
        log.until(b"Cautions: ")
        log.until(b"any one marks")
        log.until(b"turns")
        assert not log.mode_now[3] & (termios.ECHO | termios.ICANON)
        log.press(
            b"\x1a\x1c\x13"
        )  # Ctrl-Z, Ctrl-\ and Ctrl-S: a log is not put to sleep, killed or silenced by accident
        log.until(b"MARK 1 by key")
        log.press(b"q")
        assert log.end() == 0
        assert log.mode_now == log.mode
        assert b"stopped: by key" in log.seen
        assert b"nothing is missing" in b" ".join(log.seen.split())
        assert b"Roll call" in log.seen
        assert b"Traceback" not in log.seen
        assert [row[2] for row in log.rows("marks")] == ["key"]


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGHUP])
def test_a_signal_stops_it_with_its_summary_and_the_terminal_as_it_was(number: signal.Signals, tmp_path: Path) -> None:
    with logging(tmp_path) as log:
        log.until(b"running")
        log.process.send_signal(number)
        assert log.end() == 0
        assert f"stopped: by {number.name}".encode() in log.seen
        assert b"Roll call" in log.seen
        assert log.mode_now == log.mode


def test_signals_that_come_again_and_again_do_not_keep_it_from_ending_whole(tmp_path: Path) -> None:
    with logging(tmp_path) as log:
        log.until(b"running")
        while log.process.poll() is None and b"Roll call" not in log.seen:
            for number in (signal.SIGHUP, signal.SIGTERM, signal.SIGUSR1):
                log.process.send_signal(number)
            log._read()
        assert log.end() == 0
        assert log.rows("firings")


def test_a_signal_marks_and_before_there_is_anything_to_mark_it_is_ignored(tmp_path: Path) -> None:
    with logging(tmp_path) as log:
        log.until(b"Cautions: ")
        log.process.send_signal(signal.SIGUSR1)
        log.until(b"running")
        log.process.send_signal(signal.SIGUSR1)
        log.until(b"by signal")
        log.press(b"q")
        assert log.end() == 0
        assert {row[2] for row in log.rows("marks")} == {"signal"}


def test_a_terminal_that_goes_ends_it_with_everything_kept(tmp_path: Path) -> None:
    with logging(tmp_path) as log:
        log.until(b"running")
        log.go()
        assert log.process.wait(DEADLINE_S) == 0
        assert samples_kept(log.kept) > RATE_HZ / 10
        assert log.rows("coverage")


def test_with_nohup_it_outlives_its_terminal(tmp_path: Path) -> None:
    with logging(tmp_path, begin=f"{BEGIN}\nsignal.signal(signal.SIGHUP, signal.SIG_IGN)\n") as log:
        log.until(b"running")
        log.go()
        before, deadline = samples_kept(log.kept), time.monotonic() + DEADLINE_S
        while samples_kept(log.kept) < before + RATE_HZ:
            assert log.process.poll() is None
            assert time.monotonic() < deadline
        log.process.terminate()
        assert log.process.wait(DEADLINE_S) == 0


def test_readers_that_are_gone_or_take_nothing_do_not_stop_it(tmp_path: Path) -> None:
    with logging(tmp_path, "--duration", "4", ends=(None, subprocess.PIPE, subprocess.PIPE)) as log:
        assert log.process.stdout is not None
        assert log.process.stderr is not None
        log.process.stdout.close()  # gone; and stderr is not read
        fcntl.fcntl(log.process.stderr, fcntl.F_SETPIPE_SZ, 4096)
        while not (log.kept / "ledger.sqlite").exists():
            assert log.process.poll() is None
        while log.process.poll() is None:
            log.process.send_signal(signal.SIGUSR1)
            with suppress(subprocess.TimeoutExpired):
                log.process.wait(0.05)
        assert log.process.returncode == 0
        assert log.process.stderr.read(10) == b'{"utc": "2'
        log.process.stderr.close()
        assert samples_kept(log.kept) > 3.5 * RATE_HZ
        assert len(log.rows("marks")) * 100 > 4096


@pytest.mark.parametrize("closed", ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"])
def test_without_stdin_stdout_or_stderr_it_keeps_and_ends_as_ever(tmp_path: Path, closed: str) -> None:
    command = shlex.join([sys.executable, "-c", MAIN, "log", ENGINE, "--to", str(tmp_path / "kept"), "--duration", "1"])
    found = subprocess.run(["bash", "-c", f"{command} {closed}"], capture_output=True, timeout=DEADLINE_S, check=False)
    assert found.returncode == 0
    assert b"Traceback" not in found.stderr
    assert (b"Roll call" in found.stdout) == (">&-" not in closed.replace("2>&-", ""))
    assert samples_kept(tmp_path / "kept") >= RATE_HZ


def test_in_the_background_it_leaves_the_terminal_to_others(tmp_path: Path) -> None:
    program = [sys.executable, "-c", MAIN, "log", ENGINE, "--to", str(tmp_path / "kept")]
    shell = [
        sys.executable,
        "-c",
        BEGIN + "os.execvp('bash', ['bash', '-c', 'set -m; \"$@\" & wait', 'sh', *sys.argv[1:]])",
    ]
    shell[2] = "import sys\n" + shell[2]
    with on_terminal(tmp_path, [*shell, *program]) as log:
        log.until(b"turns")
        assert log.mode_now == log.mode
        log.press(b"x\n")
        pid = re.search(rb"kill -USR1 (\d+) marks", log.seen)
        assert pid is not None
        os.kill(int(pid[1]), signal.SIGUSR1)
        log.until(b"MARK 1 by signal")
        os.kill(int(pid[1]), signal.SIGTERM)
        log.until(b"Roll call")
        log.end()
        assert [row[2] for row in log.rows("marks")] == ["signal"]


def test_elsewhere_than_on_a_terminal_every_line_is_an_object(tmp_path: Path) -> None:
    with logging(tmp_path, ends=(subprocess.DEVNULL, subprocess.DEVNULL, subprocess.PIPE)) as log:
        assert log.process.stderr is not None
        events = []
        for line in log.process.stderr:
            said = json.loads(line)
            assert set(said) <= words_about(said["event"])
            events.append(said["event"])
            if events[-1] == "flag" and "mark" not in events:
                log.process.send_signal(signal.SIGUSR1)
            if events[-1] == "mark":
                log.process.terminate()
        log.process.stderr.close()
        assert log.process.wait(DEADLINE_S) == 0
        assert events[0] == "start"
        assert {"state", "flag", "mark"} <= set(events)
        assert events[-2:] == ["stop", "end"]


def words_about(event: str) -> set[str]:
    """What the README says of such a line."""
    row = next(row for row in README if row.startswith("| `") and f"`{event}`" in row.split("|")[1])
    return set(re.findall(r"\w+", row)) | {"utc", "event", "time_s"}


def test_a_log_that_was_stopped_for_a_while_tells_so_and_loses_nothing_that_was_kept_for_it(tmp_path: Path) -> None:
    with logging(tmp_path) as log:
        log.until(b"running")
        stood_still(log.process, 3.0)
        log.until(b"the machine slept or")
        log.press(b"q")
        assert log.end() == 0
        ((_, kind, _, lasted_s),) = log.rows("events")
        assert kind == "suspended"
        assert 3.0 <= lasted_s < 6.0
        assert log.rows("gaps") == []


def test_after_a_standstill_an_instruments_samples_stand_where_they_belong(tmp_path: Path) -> None:
    with running("log", "pty silent", tmp_path) as (log, _):
        log.until(lambda: log.gaps() == 0, "start")
        stood_still(log._process, 3.0)
        log.until(lambda: b"back after" in log.seen, "back")
        log.until(lambda: log.gaps() > 0, "gap")
        assert log.end() == 0
        errors_ms, wrong = judged(log.kept)
        assert wrong == 0
        assert len(errors_ms) >= 1
        assert max(map(abs, errors_ms)) < 250.0
        assert b"nothing ran here for 3." in log.seen


def stood_still(process: "subprocess.Popen[bytes]", seconds: float) -> None:
    """Stop a process as a sleep of the machine does, which none of its own can be asked for."""
    process.send_signal(signal.SIGSTOP)
    time.sleep(seconds)
    process.send_signal(signal.SIGCONT)
