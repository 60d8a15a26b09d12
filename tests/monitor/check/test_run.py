"""The real command: over the simulated engine, recordings, and instruments that are silent or gone."""

import json
import os
import signal
import subprocess
import sys
import time
from contextlib import suppress
from dataclasses import replace
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from acquire.errors import FormatError, SourceLost
from acquire.recording import RecordingWriter
from drivers.simulated.scenario import named
from drivers.simulated.source import SimulatedEngine
from monitor.check.run import LIVE_S, measure, patient
from tests.drivers.serial_board.encoding import INPUTS
from tests.drivers.serial_board.pty_board import endless_frames, plugged_in, sending
from tests.monitor.check.wires import setup_text
from tests.monitor.streams import Played, WaitingClock, engine_running

PROGRAM = [sys.executable, "-c", "from monitor.cli import main; main()", "check"]
LINES = "dialect=lines&rate=20000&bits=16&range_v=20"
KEY_ON = "simulated:?scenario=key-on&rate=20000"


def run(*arguments: object, timeout_s: float = 40.0) -> subprocess.CompletedProcess[str]:
    command = [*PROGRAM, *map(str, arguments)]
    env = os.environ | {"LC_ALL": "C.UTF-8"}
    return subprocess.run(command, capture_output=True, text=True, check=False, timeout=timeout_s, env=env)


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Three seconds, key on and engine off, of a five-lead hookup."""
    inputs = ("supply", "battery", "ground", "control1", "acknowledgement")
    engine = SimulatedEngine(scenario=named("key-on"), inputs=inputs, sample_rate_hz=20_000, duration_s=3.0)
    with RecordingWriter(tmp_path / "key-on", engine.open()) as writer:
        for block in engine.blocks():
            writer.write(block)
    return tmp_path / "key-on"


def test_a_live_source_is_looked_at_for_two_seconds_and_is_ready() -> None:
    began_s = time.monotonic()
    done = run(KEY_ON)
    assert (done.returncode, done.stderr) == (0, "")
    assert f"Key on, engine off: {LIVE_S:.2f} s at 20 kS/s" in done.stdout
    assert done.stdout.splitlines()[-1] == "READY"
    assert time.monotonic() - began_s > LIVE_S


def test_a_line_that_rests_low_ends_with_status_1() -> None:
    done = run(f"{KEY_ON}&fault=weak-pull-up,value=20000&pace=0", "--seconds", "1", "--json")
    said = json.loads(done.stdout)
    assert (done.returncode, said["ready"], said["duration_s"]) == (1, False, 1.0)
    wrong = [one for one in said["lines"] if one["verdict"] == "wrong"]
    # the simulated line: 5 V through the pull-up, and what the coils load it with
    assert [(one["role"], one["question"]) for one in wrong] == [("acknowledgement", "level")]
    assert wrong[0]["value"] == pytest.approx(4.17, abs=0.01)


def test_an_engine_that_runs_is_told() -> None:
    done = run("simulated:?scenario=idle&rate=20000&pace=0", "--seconds", "2", "--json")
    said = json.loads(done.stdout)
    assert (done.returncode, said["engine_runs"], said["verdict"]) == (0, True, "ready, with doubts")


def test_a_key_that_is_off_is_told() -> None:
    done = run("simulated:?knots=0:0:off&rate=20000&pace=0", "--seconds", "1")
    assert done.returncode == 1
    assert "key off?" in done.stdout


def test_a_recording_goes_by_its_own_name_and_not_by_that_of_what_made_it(recording: Path) -> None:
    assert json.loads(run(recording, "--json").stdout)["source"] == str(recording)


def test_a_recording_is_looked_at_to_its_end_or_for_so_long(recording: Path) -> None:
    whole, part = run(recording, "--json"), run(recording, "--json", "--seconds", "0.75")
    assert (whole.returncode, part.returncode) == (0, 0)
    assert json.loads(whole.stdout)["duration_s"] == 3.0
    assert json.loads(part.stdout)["duration_s"] == 0.75
    assert [one["role"] for one in json.loads(whole.stdout)["not_connected"]] == ["control", "current", "injector"]


def test_a_table_without_times_takes_its_rate_and_a_set_up(tmp_path: Path) -> None:
    engine = SimulatedEngine(scenario=named("key-on"), sample_rate_hz=20_000, duration_s=1.0)
    info = engine.open()
    counts = np.concatenate([block.counts for block in engine.blocks()], axis=1)
    volts = counts * np.array([[channel.volts_per_count] for channel in info.channels])
    np.savetxt(tmp_path / "key-on.csv", volts.T, "%.4f", ",", header="in1,in2,in3", comments="")
    (tmp_path / "own.toml").write_text(info.setup_toml or "", encoding="utf-8")
    done = run(tmp_path / "key-on.csv", "--rate", "20000", "--setup", tmp_path / "own.toml", "--json")
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    levels = {one["role"]: one["value"] for one in said["lines"] if one["question"] == "level"}
    assert levels["supply"] == pytest.approx(12.6, abs=0.01)
    assert levels["acknowledgement"] == pytest.approx(4.95, abs=0.01)
    assert {one["verdict"] for one in said["lines"] if one["question"] == "range"} == {"not judged"}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere.csv"], "nowhere.csv"),
        (["simulated:?cylinders=a"], "cylinders"),
        ([KEY_ON, "--seconds", "0"], "seconds"),
        ([KEY_ON, "--seconds", "nan"], "seconds"),
        ([KEY_ON, "--setup", "nowhere.toml"], "nowhere.toml"),
        ([], "ADDRESS"),
    ],
)
def test_bad_input_is_one_line_and_status_2(arguments: list[str], words: str) -> None:
    done = run(*arguments)
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert done.stderr.count("coilcall: ") == 1
    assert "Traceback" not in done.stderr


def test_an_interrupt_ends_it_soon_and_without_a_trace() -> None:
    command, (end, terminal) = [*PROGRAM, KEY_ON, "--seconds", "600"], os.openpty()
    shown = b""
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=terminal) as process:
        os.close(terminal)
        while b"reading the wires" not in shown:
            shown += os.read(end, 4096)
        process.send_signal(signal.SIGINT)
        with suppress(OSError):  # what the end of a terminal looks like on Linux
            while more := os.read(end, 4096):
                shown += more
        out, _ = process.communicate(timeout=10)
    os.close(end)
    assert (process.returncode, out) == (130, b"")
    assert shown.rstrip().endswith(b"coilcall: stopped")
    assert b"Traceback" not in shown


async def test_a_source_that_is_silent_is_lost() -> None:
    info = replace(engine_running()[0], is_live=True)
    source = patient(lambda: Played((info, ()), is_endless=True), _SoonClock())
    with pytest.raises(SourceLost, match=r"nothing (came for|ran here)"):
        await measure(source, None, None)


async def test_a_source_that_goes_away_is_lost() -> None:
    info, blocks = engine_running()
    played = Played((info, blocks[:1]), error=SourceLost("board: unplugged"), is_live=True)
    with pytest.raises(SourceLost, match="unplugged"):
        await measure(patient(lambda: played, WaitingClock()), None, None)
    assert played.is_closed


@pytest.mark.parametrize(("is_live", "error"), [(True, SourceLost), (False, FormatError)])
async def test_a_source_without_a_sample_is_no_check(is_live: bool, error: type[Exception]) -> None:
    played = Played((engine_running()[0], ()), is_live=is_live)
    with pytest.raises(error, match="sample"):
        await measure(patient(lambda: played, WaitingClock()), None, None)


class _SoonClock(WaitingClock):
    """A second passes with every look; where several look at once, that may be taken for a machine that stood still."""

    def now(self) -> float:
        self.time_s += 1.0
        return self.time_s


def _board_setup(folder: Path) -> Path:
    (folder / "board.toml").write_text(setup_text(["acknowledgement"]), encoding="utf-8")
    return folder / "board.toml"


def test_a_board_at_a_port_is_checked(tmp_path: Path) -> None:
    assert INPUTS[0] == (1_000_000, 0, -32768, 32767)  # nanovolts a count: a millivolt
    rest_mv = np.repeat(np.array([[4_950]], np.int16), 1000, axis=1)
    with sending(endless_frames(rest_mv)) as board:
        done = run(f"serial:{board.path}", "--setup", _board_setup(tmp_path), "--seconds", "0.6", "--json")
    assert done.returncode == 0, done.stderr
    said = json.loads(done.stdout)
    (level,) = [one for one in said["lines"] if one["role"] == "acknowledgement" and one["question"] == "level"]
    assert (level["value"], level["verdict"]) == (pytest.approx(4.95), "ok")
    assert said["sample_rate_hz"] == 50_000.0


def test_a_board_that_never_says_anything_is_not_at_this_port(tmp_path: Path) -> None:
    with plugged_in() as board:
        done = run(f"serial:{board.path}?{LINES}", "--setup", _board_setup(tmp_path))
    assert (done.returncode, done.stdout) == (2, "")
    assert "nothing came" in done.stderr


@pytest.mark.parametrize("hang_up", [False, True])
def test_a_board_that_falls_silent_or_is_unplugged_is_lost(tmp_path: Path, hang_up: bool) -> None:
    rest_mv = np.repeat(np.array([[4_950]], np.int16), 1000, axis=1)
    some = islice(endless_frames(rest_mv), 6000)
    with sending(some, hang_up=hang_up) as board:
        done = run(f"serial:{board.path}", "--setup", _board_setup(tmp_path), "--seconds", "600")
    assert (done.returncode, done.stdout) == (3, "")
    assert done.stderr.count("coilcall: ") == 1
    assert "Traceback" not in done.stderr
