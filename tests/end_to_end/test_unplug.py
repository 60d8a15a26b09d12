"""Instruments taken away from commands that run; tests/bench/unplug.py does it a hundred times."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.bench.unplug import SETUP, Instrument, running, unplugged

NEAR_MS = 250.0
"""A machine that is busy lets samples arrive late; without the gap it would be half a second and more."""


@pytest.mark.parametrize(
    ("command", "way", "times"),
    [
        ("log", "pty closed", 3),
        ("log", "socket half-open", 1),
        ("watch", "pty silent", 1),
        ("watch", "socket reset", 2),
    ],
)
def test_it_is_back_each_time_with_the_gap_in_its_place_and_nothing_left(
    command: str, way: str, times: int, tmp_path: Path
) -> None:
    done = unplugged(command, way, times, tmp_path)
    assert done.status == 0
    assert done.gaps >= times  # a frame that was on its way while the port was opened may be one more
    assert max(map(abs, done.errors_ms)) < NEAR_MS
    assert done.wrong_samples == 0
    assert done.holds_last == done.holds_first


def test_one_that_stays_away_is_given_up_with_status_3_and_the_recording_is_whole(tmp_path: Path) -> None:
    with running("log", "pty closed", tmp_path, "--retry", "0.7") as (process, instrument):
        process.until(lambda: process.gaps() == 0, "start")
        instrument.unplug()
        assert process.wait() == 3
    said = process.seen.decode()
    assert "LOST serial:" in " ".join(said.split())  # however the terminal is wide
    assert "not back within 0.7 s" in said.splitlines()[-1]
    assert "Traceback" not in said
    assert (process.kept / "ledger.sqlite").exists()


@pytest.mark.parametrize("way", ["pty closed", "socket half-open"])
def test_an_interrupt_ends_it_while_it_is_lost(way: str, tmp_path: Path) -> None:
    with running("log", way, tmp_path) as (process, instrument):
        process.until(lambda: process.gaps() == 0, "start")
        instrument.unplug()
        process.until(lambda: b"LOST" in process.seen, "lost")
        assert process.end() == 0
    assert b"Traceback" not in process.seen


@pytest.mark.parametrize("how", ["SIGINT", "SIGTERM", "SIGTERM in the background", "SIGHUP"])
def test_an_interrupt_or_a_kill_ends_it_while_it_connects_and_a_mark_does_not(how: str, tmp_path: Path) -> None:
    (tmp_path / "setup.toml").write_text(SETUP, encoding="utf-8")
    silent = Instrument(tmp_path, is_reset=False)
    silent.unplug()
    # As a shell starts what it does not wait for.
    ignores = "signal.signal(signal.SIGINT, signal.SIG_IGN); " if "background" in how else ""
    heeds = "import signal; signal.signal(signal.SIGHUP, signal.SIG_DFL); "  # whatever this runs under ignores
    code = f"{heeds}{ignores}from monitor.cli import main; main()"
    program = [sys.executable, "-c", code, "log", f"{silent.address}&patience_s=60"]
    try:
        with subprocess.Popen(
            [*program, "--setup", str(tmp_path / "setup.toml"), "--to", str(tmp_path / "kept")],
            stderr=subprocess.PIPE, text=True, env=os.environ | {"LC_ALL": "C.UTF-8"},
        ) as process:  # fmt: skip
            assert silent.asked.wait(20.0)
            process.send_signal(signal.SIGUSR1)
            process.send_signal(signal.Signals[how.split()[0]])
            _, said = process.communicate(timeout=10.0)
    finally:
        silent.close()
    assert process.returncode == 130
    assert said.splitlines()[-1] == "coilcall: stopped"
    assert "Traceback" not in said
