import json
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from acquire.errors import SourceLost
from acquire.recording import RecordingWriter
from monitor.cli import cli, main
from tests.monitor.streams import Played, engine_running

COMMAND = [sys.executable, "-c", "from monitor.cli import main; main()"]
HEAVY = "numpy pyarrow pydantic rich scipy soundfile textual asyncio"
TOO_LONG = "n" * 300
"""A name that no disk takes; what one may not look into fails in the same way."""
ENDLESS = "simulated:?rate=20000&pace=1&fault=no-answer,cylinder=4,probability=0.5"


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """Four seconds of a six whose cylinder 4 does not answer between 1 s and 2 s."""
    info, blocks = engine_running()
    with RecordingWriter(tmp_path / "drive", info) as writer:
        for block in blocks:
            writer.write(block)
    return tmp_path / "drive"


Run = Callable[..., tuple[int, str, list[str]]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run a command in this process: exit status, stdout, lines of stderr."""

    def run(*arguments: object) -> tuple[int, str, list[str]]:
        with pytest.raises(SystemExit) as end:
            main([str(argument) for argument in arguments])
        out, err = capsys.readouterr()
        return int(end.value.code or 0), out, err.splitlines()

    return run


@pytest.mark.parametrize("command", [[], *([name] for name in cli.commands)])
def test_every_help_text_can_be_asked_for(command: list[str]) -> None:
    result = CliRunner().invoke(cli, [*command, "--help"])
    assert result.exit_code == 0
    assert len(result.output) > 300


@pytest.mark.parametrize("command", ["watch", "log", "check"])
def test_the_cautions_stand_in_the_help_of_what_is_connected_to_an_engine(command: str) -> None:
    text = CliRunner().invoke(cli, [command, "--help"]).output
    for words in ("tens of kV", "attenuator", "divider", "Key off", "Ventilate", "second person", "local law"):
        assert words in text


def test_help_imports_nothing_that_takes_long() -> None:
    program = f"import sys, monitor.cli; print(sorted(set('{HEAVY}'.split()) & set(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_the_version_is_told(run: Run) -> None:
    status, out, _ = run("--version")
    assert (status, out.split()[0]) == (0, "coilcall")


def test_without_a_command_the_help_is_shown_and_nothing_done(run: Run) -> None:
    status, out, err = run()
    assert status == 2
    assert "analyze" in out + "\n".join(err)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["frob"], "frob"),
        (["log"], "ADDRESS"),
        (["analyze"], "RECORDING"),
        (["analyze", "x.csv", "--rate", "fast"], "fast"),
        (["analyze", "nowhere.csv"], "nowhere.csv"),
        (["analyze", "nosuch:thing"], "nosuch"),
        (["analyze", "simulated:?cylinders=a"], "cylinders"),
        (["analyze", "simulated:"], "has no end"),
        (["replay", "x.csv", "--speed", "1000"], "speed"),
        (["log", "x.csv", "--duration", "0"], "duration"),
        (["log", "x.csv", "--duration", "nan"], "not a number"),
        (["log", "x.csv", "--size", "20"], "20GB"),
        (["log", "x.csv", "--to", "a", "--resume", "b"], "one of them"),
        (["log", "simulated:", "--resume", "nowhere"], "nowhere: no such folder"),
        (["log", "simulated:", "--resume", TOO_LONG], "recording.toml: cannot be read (File name too long)"),
        (["analyze", f"{TOO_LONG}?unit=V", "--rate", "50"], "cannot be opened: File name too long"),
        (["check", TOO_LONG], "cannot be opened: File name too long"),
        (["log", "x.csv", "--size", "0MB"], "above 0"),
        (["log", "x.csv", "--size", "-1GB"], "no size"),
        (["log", "x.csv", "--retry", "nan"], "not a number"),
        (["replay", "x.csv", "--speed", "nan"], "not a number"),
        (["watch"], "needs a terminal; use --serve 8000 or log here"),
        (["watch", "mqtt://host/root"], "needs a terminal; any MQTT client shows"),
        (["watch", "--serve", "0", "--flex"], "leave --flex out and use --serve"),
        (["watch", "--serve", "phone"], "as 8000 or 0.0.0.0:8000"),
        (["watch", "--alerts", "horn"], "title, bell, notification"),
        (["replay", "x.csv"], "needs a terminal; use analyze here"),
    ],
)
def test_bad_input_is_one_line_and_status_2(run: Run, arguments: list[str], words: str) -> None:
    status, out, err = run(*arguments)
    assert (status, out) == (2, "")
    assert err[-1].startswith("coilcall: ")
    assert words in err[-1]
    assert sum(line.startswith("coilcall: ") for line in err) == 1
    assert not any("Traceback" in line for line in err)


def test_a_file_name_sends_the_terminal_nothing(run: Run, recording: Path) -> None:
    hostile = recording.rename(recording.with_name("x\x1b]0;drive\x07"))
    status, out, err = run("analyze", hostile)
    assert status == 0
    assert out.splitlines()[0].endswith("x\u241b]0;drive\u2407 (simulated engine)")
    assert "\x1b" not in "".join([out, *err])
    status, out, err = run("analyze", f"{hostile}2")
    assert (status, out, len(err)) == (2, "", 1)
    assert "x\u241b]0;drive\u24072: cannot be opened" in err[0]


def test_analyze_prints_the_table_with_the_cylinder_that_missed(run: Run, recording: Path) -> None:
    status, out, err = run("analyze", recording)
    assert status == 0
    assert err == []
    assert "missing-acknowledgement" in out


def test_the_table_names_the_vehicle_as_the_set_up_does(run: Run, recording: Path, tmp_path: Path) -> None:
    file = tmp_path / "van.toml"
    text = engine_running()[0].setup_toml or ""
    file.write_text(text.replace("simulated engine", r"van, \u001b[2J bay 2"), encoding="utf-8")
    status, out, _ = run("analyze", recording, "--setup", file)
    assert status == 0
    assert out.splitlines()[0] == f"{recording} (van, \u241b[2J bay 2)"


def test_analyze_prints_one_json_object_and_nothing_else(run: Run, recording: Path) -> None:
    status, out, err = run("analyze", recording, "--json")
    assert status == 0
    assert err == []
    summary = json.loads(out)
    assert summary["schema"] == "coilcall.summary/1"
    missed = {entry["cylinder"]: entry["unacknowledged"] for entry in summary["cylinders"]}
    assert missed.pop(4) >= 6
    assert set(missed.values()) == {0}


def test_a_set_up_that_cannot_be_meant_names_its_file(run: Run, recording: Path, tmp_path: Path) -> None:
    (tmp_path / "own.toml").write_text("engine = 3", encoding="utf-8")
    status, _, err = run("analyze", recording, "--setup", tmp_path / "own.toml")
    assert status == 2
    assert "own.toml" in err[0]


def test_log_records_a_stream_to_its_end_and_tells_the_tally(run: Run, recording: Path, tmp_path: Path) -> None:
    status, out, err = run("log", recording, "--to", tmp_path / "kept")
    assert status == 0
    assert "> 4" in out
    assert str(tmp_path / "kept") in out
    events = [json.loads(line)["event"] for line in err]
    assert events[0] == "start"
    assert events[-2:] == ["stop", "end"]
    # The ledger's companions -wal and -shm are gone: it was closed whole.
    files = {path.name for path in (tmp_path / "kept").iterdir() if path.is_file()}
    assert files == {"recording.toml", "samples-001.arrow", "ledger.sqlite"}
    again, first = run("analyze", tmp_path / "kept", "--json")[1], run("analyze", recording, "--json")[1]
    assert json.loads(again) | {"recording": ""} == json.loads(first) | {"recording": ""}


def test_a_recording_is_gone_on_with_by_a_second_log(run: Run, tmp_path: Path) -> None:
    engine, kept = "simulated:?rate=20000&duration=3&fault=no-answer,cylinder=4,probability=0.5", tmp_path / "kept"
    assert run("log", engine, "--to", kept)[0] == 0
    flags = len(json.loads(run("analyze", kept, "--json")[1])["flags"])
    status, out, err = run("log", engine, "--resume", kept)
    assert status == 0
    assert "\n3.0 s (from " in out
    assert "since it was gone on with" in out
    told = [json.loads(line) for line in err]
    assert (told[0]["event"], told[0]["session"]) == ("start", 2)
    numbers = [event["number"] for event in told if event["event"] == "flag"]
    assert numbers[0] == flags + 1
    whole = json.loads(run("analyze", kept, "--json")[1])
    assert len(whole["flags"]) > flags
    assert whole["paused_s"] > 0.0
    assert whole["coverage"] == 1.0


def test_a_recording_is_not_gone_on_with_by_other_inputs(run: Run, recording: Path, tmp_path: Path) -> None:
    assert run("log", recording, "--to", tmp_path / "kept")[0] == 0
    status, out, err = run("log", "simulated:?rate=50000&duration=3", "--resume", tmp_path / "kept")
    assert (status, out) == (2, "")
    assert err == [f"coilcall: {tmp_path / 'kept' / 'recording.toml'}: cannot go on with this recording: "
                   "50000 Hz where it was 20000 Hz"]  # fmt: skip


def test_a_lost_instrument_is_status_3_and_the_tally_is_told_all_the_same(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lost = SourceLost("scope: no answer for 0.5 s; plug it in again")
    monkeypatch.setattr("monitor.log.source_for", lambda _: Played(engine_running(), error=lost))
    status, out, err = run("log", "scope:", "--to", tmp_path / "kept")
    assert status == 3
    assert "> 4" in out
    assert err[-1] == "coilcall: scope: no answer for 0.5 s; plug it in again"


def test_a_full_disk_is_one_line(run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, recording: Path) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(RecordingWriter, "write", full)
    status, _, err = run("log", recording, "--to", tmp_path / "kept")
    assert status == 2
    lost = "80000 samples of each input (No space left on device)"
    assert err[-1] == f"coilcall: not everything could be kept: {lost}"


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_an_interrupted_log_ends_whole_with_its_tally(tmp_path: Path, number: signal.Signals) -> None:
    command = [*COMMAND, "log", ENDLESS, "--to", str(tmp_path / "kept")]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stderr is not None
        for line in process.stderr:
            if json.loads(line)["event"] == "flag":
                break
        process.send_signal(number)
        out, err = process.communicate(timeout=20)
    assert process.returncode == 0
    assert "> 4" in out
    assert "Traceback" not in err
    # The ledger's companions -wal and -shm are gone: it was closed whole.
    files = {path.name for path in (tmp_path / "kept").iterdir() if path.is_file()}
    assert files == {"recording.toml", "samples-001.arrow", "ledger.sqlite"}


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a file that is always full")
@pytest.mark.parametrize("options", [[], ["--json"]])
def test_results_for_which_there_is_no_room_are_told_in_one_line(recording: Path, options: list[str]) -> None:
    command = [sys.executable, "-c", "from monitor.cli import main; main()", "analyze", str(recording), *options]
    with Path("/dev/full").open("w", encoding="utf-8") as full:
        done = subprocess.run(command, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.stderr == "coilcall: what it found could not be written: No space left on device\n"
    assert done.returncode == 2


def test_a_reader_that_has_seen_enough_is_no_error(recording: Path) -> None:
    command = [*COMMAND, "analyze", str(recording), "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.close()
        assert process.stderr is not None
        assert process.stderr.read() == ""
